"""Which PostgreSQL do the tests use? Their own, started from the operating system's package and stopped at the end.

Run as a program it sees to it that the package is there and says what it did. One server serves all workers of a run:
whoever needs it first starts a keeper, which stops it and removes all it wrote once the run is over. It answers on a
socket in its own folder, to nobody else.
"""

import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PATIENCE = 60.0  # for a server to start [s]
USER = "postgres"  # whose right the server runs under, where the tests run as root: it refuses to run as root
SETTINGS = {
    "listen_addresses": "", "fsync": "on", "synchronous_commit": "on", "full_page_writes": "on",
    "max_connections": "60", "shared_buffers": "64MB", "autovacuum": "off", "logging_collector": "off",
}  # fmt: skip


def binaries() -> Path | None:
    """Return the folder with the newest server's programs, or None."""
    named = os.environ.get("WEIRHOUSE_POSTGRESQL")
    if named:
        return Path(named) if (Path(named) / "initdb").exists() else None
    found = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    if found:
        return max(found, key=lambda path: int(path.parent.name) if path.parent.name.isdigit() else 0)
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


def ensure() -> str:
    """See to it that there is a server to start; return what was done, in words."""
    found = binaries()
    if found:
        return f"PostgreSQL for the tests: {found}, already on this machine."
    if not (_root() and shutil.which("apt-get")):
        raise RuntimeError("No PostgreSQL server: install the package postgresql, or set WEIRHOUSE_POSTGRESQL.")
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in (["apt-get", "update", "-q"], ["apt-get", "install", "-y", "-q", "postgresql"]):
        subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)
    return f"PostgreSQL for the tests: {binaries()}, installed from the operating system's packages."


def address(base: Path) -> str:
    """Return the address of the one server of this run, started if nobody has; `base` is a folder of the run."""
    told, lock = base / "postgresql", base / "postgresql.lock"
    until = time.monotonic() + PATIENCE
    while not told.exists():
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL))
        except FileExistsError:
            if time.monotonic() > until:
                raise TimeoutError(f"{lock} is held, and no server came of it") from None
            time.sleep(0.1)
            continue
        try:
            if not told.exists():
                written = told.with_suffix(".new")
                written.write_text(_started(until))
                written.rename(told)
        finally:
            lock.unlink()
    return told.read_text()


def _started(until: float) -> str:
    """Start a keeper that outlives this worker and not the run; return the address of its server."""
    run = os.getppid() if os.environ.get("PYTEST_XDIST_WORKER") else os.getpid()
    keeper = subprocess.Popen(
        [sys.executable, __file__, "keep", str(run)], stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True,
        start_new_session=True,
    )  # fmt: skip
    assert keeper.stdout is not None
    folder = keeper.stdout.readline().strip()
    keeper.stdout.close()
    if not folder:
        raise RuntimeError("The PostgreSQL server of the tests did not start.")
    keeper.returncode = 0  # it is not ours to wait for
    url = f"postgresql://{USER}@/postgres?host={folder}"
    _wait(url, until)
    return url


def _wait(url: str, until: float) -> None:
    import psycopg

    while True:
        try:
            psycopg.connect(url).close()
        except psycopg.OperationalError:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)
        else:
            return


def keep(run: int) -> None:
    """Keep a server for as long as a process runs."""
    programs = binaries()
    if programs is None:
        raise RuntimeError("No PostgreSQL server on this machine: run python tests/postgres.py first.")
    folder = Path(tempfile.mkdtemp(prefix="weirhouse-pg-"))
    rights: dict[str, object] = {}
    if _root():
        who = pwd.getpwnam(USER)
        os.chown(folder, who.pw_uid, who.pw_gid)
        rights = {"user": who.pw_uid, "group": who.pw_gid, "extra_groups": []}
    data = folder / "data"
    log = (folder / "log").open("w")
    try:
        subprocess.run(
            [programs / "initdb", "-D", data, "-U", USER, "--auth=trust", "--encoding=UTF8", "--locale=C",
             "--data-checksums"], check=True, stdout=log, stderr=log, cwd=folder, **rights,
        )  # fmt: skip
        settings = [part for name, value in SETTINGS.items() for part in ("-c", f"{name}={value}")]
        server = subprocess.Popen(
            [programs / "postgres", "-D", data, "-k", folder, *settings], stdout=log, stderr=log, cwd=folder, **rights
        )  # fmt: skip
        try:
            print(folder, flush=True)
            sys.stdout = None
            os.close(1)
            while server.poll() is None and _runs(run):
                time.sleep(0.3)
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(timeout=30)
    finally:
        log.close()
        shutil.rmtree(folder, ignore_errors=True)


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{pid}/stat")
    return not stat.exists() or stat.read_text().rpartition(")")[2].split()[0] != "Z"


def _root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0


if __name__ == "__main__":
    if sys.argv[1:2] == ["keep"]:
        keep(int(sys.argv[2]))
    else:
        print(ensure())
