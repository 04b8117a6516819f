"""Where do the records of a plant lie? In two files of its folder, or on the database server that its plant file names.

The plant file may say it in a table [records]: `database`, an address like postgresql://weirhouse@server/district, and
`schema`, the short name under which this plant's tables stand there. An address that begins with $ is the name of an
environment variable that holds it, so that a password need not stand in the file.
"""

import os
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from weirhouse.records.model import RecordsError

PLANT_FILE = "plant.toml"
TABLE = re.compile(rb"""^[ \t]*(\[[ \t"']*|["']?)records\b""", re.M)  # most plant files have none: they are not parsed
SCHEMA = re.compile(r"[a-z][a-z0-9_]{0,40}")
SCHEMES = ("postgresql", "postgres")


@dataclass(frozen=True, slots=True)
class Server:
    """A database on a server, and the name under which a plant's tables stand in it."""

    url: str
    schema: str

    def __str__(self) -> str:
        """Where it is, without what is secret."""
        parts = urlsplit(self.url)
        return f"{parts.hostname or 'this computer'}{parts.path}, schema {self.schema}"


def server_of(folder: Path) -> Server | None:
    """Return the server that the plant file in a folder names for the records; None where they lie in the folder."""
    try:
        raw = (folder / PLANT_FILE).read_bytes()
    except OSError:
        return None
    if not TABLE.search(raw):
        return None
    try:
        table = tomllib.loads(raw.decode("utf-8-sig")).get("records", {})
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as fault:
        raise RecordsError(
            f"{folder / PLANT_FILE} cannot be read ({fault}), so it is not known where the records lie. Mend it first."
        ) from fault
    database = table.get("database", "") if isinstance(table, dict) else ""
    return server(str(database), str(table.get("schema", ""))) if database else None


def server(database: str, schema: str) -> Server:
    """Return the server of an address and a schema; RecordsError in one sentence where they cannot be."""
    url = database
    if database.startswith("$"):
        url = os.environ.get(database[1:], "")
        if not url:
            raise RecordsError(f"The records lie where {database} says, and that variable is not set. Set it.")
    if not is_address(url):
        raise RecordsError("The address of the records' database must begin with postgresql://. Mend it in [records].")
    if not SCHEMA.fullmatch(schema):
        raise RecordsError(
            f'"{schema}" is no name for a schema. Under [records], write one for this plant: small letters, digits '
            'and _, like schema = "emberly".'
        )
    return Server(url, schema)


def is_address(text: str) -> bool:
    """Whether a text is the address of a database server."""
    return text.split("://", maxsplit=1)[0] in SCHEMES and "://" in text
