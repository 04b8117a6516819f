"""How does a file of an earlier version become one of this? By its migrations, with a copy kept from before."""

from pathlib import Path
from typing import Any

from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.script import ScriptDirectory
from pysqlite3 import dbapi2 as driver
from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.pool import NullPool

from weirhouse.records import engine
from weirhouse.records.engine import Kind, explained
from weirhouse.records.model import RecordsError
from weirhouse.records.place import Server

MIGRATIONS = Path(__file__).with_name("migrations")


def upgrade(path: Path, kind: Kind) -> Path:
    """Bring the file to the newest version, whole or not at all; return the copy that was kept from before."""
    alchemy = sqlite_engine(path)
    try:
        copy = _copy(path)
        with alchemy.begin() as connection:
            _migrate(connection, MIGRATIONS / kind.name)
            connection.execute(text(f"PRAGMA application_id = {kind.application_id}"))
            connection.execute(text(f"PRAGMA user_version = {kind.version}"))
    except Exception as fault:
        told = explained(getattr(fault, "orig", None) or fault, path)
        if told is None:
            why = str(fault).splitlines()[0]
            raise RecordsError(
                f"{path} could not be brought up to date ({why}). It is as it was. Keep the copy beside it and send "
                "this message to the makers."
            ) from fault
        raise told from fault
    finally:
        alchemy.dispose()
    return copy


def upgrade_schema(server: Server, kind: Kind) -> None:
    """Bring a schema of a server to the newest version, whole or not at all. Take a backup first: none is kept here."""
    from weirhouse.records import postgres

    schema = postgres.schema_of(server, kind)
    alchemy = create_engine("postgresql+psycopg://", creator=lambda: postgres.connect(server), poolclass=NullPool)
    try:
        with alchemy.connect() as connection:
            connection.exec_driver_sql("BEGIN")
            connection.exec_driver_sql("SELECT pg_advisory_xact_lock(%s::bigint)", (postgres.lock_key(schema),))
            connection.exec_driver_sql("SELECT set_config('search_path', %s, true)", (f'"{schema}"',))
            _migrate(connection, MIGRATIONS / kind.name)
            connection.exec_driver_sql("COMMIT")
    except Exception as fault:
        why = str(fault).splitlines()[0]
        raise RecordsError(
            f"{server} could not be brought up to date ({why}). It is as it was. Send this message to the makers."
        ) from fault
    finally:
        alchemy.dispose()


def _migrate(connection: Connection, scripts: Path) -> None:
    """Run the migrations that are due on a connection, in its transaction."""
    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    directory = ScriptDirectory.from_config(config)

    def due(revision: Any, _context: Any) -> Any:
        return directory._upgrade_revs("head", revision)

    with EnvironmentContext(config, directory, fn=due) as environment:
        environment.configure(connection=connection, transactional_ddl=True)
        environment.run_migrations()


def _copy(path: Path) -> Path:
    """Keep the file as it is beside itself, with its version in the name, and return where."""
    connection = driver.connect(str(path), timeout=engine.WAIT_S, isolation_level=None)
    try:
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        copy = path.with_name(f"{path.stem}.version-{version}{path.suffix}")
        if not copy.exists():
            connection.execute("VACUUM INTO ?", (str(copy),))
    finally:
        connection.close()
    return copy


def sqlite_engine(path: Path) -> Engine:
    """Return an engine on the file by the one library, whose transactions take the lock as they begin."""

    def connect() -> Any:
        connection = driver.connect(str(path), timeout=engine.WAIT_S, isolation_level=None)
        connection.execute("PRAGMA synchronous = FULL")
        return connection

    made = create_engine("sqlite://", module=driver, creator=connect, poolclass=NullPool)

    @event.listens_for(made, "begin")
    def begin(connection: Any) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return made
