"""What does a delimited text say? Each quantity in a column of its own, or one value to a row."""

from collections.abc import Mapping as Table
from zoneinfo import ZoneInfo

from weirhouse.records.importing import layout, names
from weirhouse.records.importing.layout import is_survey
from weirhouse.records.importing.long import long_columns, read_long
from weirhouse.records.importing.mapping import Mapping
from weirhouse.records.importing.parsed import Parsed
from weirhouse.records.importing.problem import FileProblem
from weirhouse.records.importing.rows import time_columns
from weirhouse.records.importing.wide import read_wide


def read(
    name: str,
    data: bytes,
    channels: Table[str, names.ChannelLike],
    zone: ZoneInfo,
    mapping: Mapping,
    latest: int,
) -> Parsed:
    """Return what the delimited text `data` says about the channels of the plant."""
    found = layout.find(name, data, mapping)
    if found.width < 2:
        raise FileProblem(f"{name} has one column. A table needs a time and at least one value in each row.")
    if not any(cell for column in found.columns for cell in column.sample):
        raise FileProblem(f"{name} has headings and no rows of readings.")
    at = time_columns(name, found, mapping)
    long = long_columns(found, at, mapping)
    parsed = Parsed("survey table" if is_survey(found) else "table")
    if long is not None:
        read_long(name, data, found, at, long, channels, zone, mapping, latest, parsed)
    else:
        read_wide(name, data, found, at, channels, zone, mapping, latest, parsed)
    return parsed
