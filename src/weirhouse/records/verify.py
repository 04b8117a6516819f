"""Are the records as they were entered? The chain of the ledger, the rows of each import, the hourly figures."""

from collections.abc import Callable

import msgspec

from weirhouse.records import chunks, files, ledger, originals
from weirhouse.records.engine import MOST_TOLD, Database
from weirhouse.records.ledger import Body, ImportBody, Sealed
from weirhouse.records.model import RecordsError
from weirhouse.records.rollup import hourly


def problems(entries: Database, open_series: Callable[[], Database]) -> list[str]:
    """Return what is wrong, in sentences; the first altered entry comes first."""
    found = of_entries(entries)
    try:
        series = open_series()
        found += _imports(entries, series)
        found += _figures(series)
        found += series.check()
    except RecordsError as fault:
        found.append(str(fault))
    return found


def of_entries(entries: Database) -> list[str]:
    """Return what is wrong with the ledger alone."""
    found: list[str] = []
    try:
        found += _chain(entries)
        found += entries.check()
    except RecordsError as fault:
        found.append(str(fault))
    return found


def _chain(entries: Database) -> list[str]:
    """Follow the seals from the first entry to the last; what comes after an altered one is still looked at."""
    found: list[str] = []
    pair = files.pair_of(entries)
    before, expected = ledger.beginning(pair), 1
    for row in ledger.walk(entries):
        if row.sequence != expected:
            gone = (
                f"entry {expected} is"
                if row.sequence == expected + 1
                else f"entries {expected} to {row.sequence - 1} are"
            )
            found.append(f"{entries.name}: {gone} missing before {_named(row)}.")
        elif ledger.seal(before, row.body) != row.hash:
            found.append(f"{entries.name}: {_named(row)} was altered, or what comes before it was.")
        else:
            wrong = _columns(row)
            if wrong:
                found.append(f"{entries.name}: {_named(row)} is filed wrongly: {wrong}.")
        before, expected = bytes(row.hash), row.sequence + 1
    head = entries.row("SELECT sequence, hash FROM head")
    if head is None:
        found.append(f"{entries.name}: it does not say where its chain ends.")
    elif head[0] >= expected:
        found.append(f"{entries.name}: the last entries, {expected} to {head[0]}, are missing.")
    elif (head[0], bytes(head[1])) != (expected - 1, before):
        found.append(f"{entries.name}: its chain ends in another entry than it says ({head[0]}, found {expected - 1}).")
    return _first(found)


def _columns(row: Sealed) -> str:
    """Return which columns do not repeat what the body says, or nothing."""
    try:
        body = ledger.decode(row.body)
    except msgspec.DecodeError as fault:
        return f"it cannot be read ({fault})"
    stands = {name: getattr(row, name) for name in body.columns}
    wrong = [name for name, said in body.columns.items() if stands[name] != said]
    return ", ".join(f"{name} is {stands[name]!r}, not {body.columns[name]!r}" for name in wrong)


def _named(row: Sealed) -> str:
    """Return an entry in words, by what it says itself; by its columns where it says nothing that can be read."""
    try:
        body: Body | None = ledger.decode(row.body)
    except (msgspec.DecodeError, UnicodeError):
        body = None
    what = ledger.named(body) if body else f"{row.kind} {row.topic}".rstrip()
    return f"entry {row.sequence} ({what}, id {row.id})".encode("utf-8", "backslashreplace").decode()


def _imports(entries: Database, series: Database) -> list[str]:
    """Compare the rows of each import, withdrawn or not, with the digest in its entry."""
    found: list[str] = []
    for sequence, body, _ in ledger.imports(entries):
        said = body.imported
        if said is None:
            continue
        of = f'the import "{said.name}" of {body.entered_at:%Y-%m-%d} (entry {sequence}, id {body.id})'
        if said.kept:
            found += _original(series, said, of)
        if not said.values:
            continue
        try:
            rows = chunks.whole(series, body.id)
        except ValueError as fault:
            found.append(f"{series.name}: a part of {of} cannot be read: {fault}.")
            continue
        if not rows:
            found.append(f"{series.name}: the rows of {of} are missing. Put both files back from the same backup.")
        elif chunks.digest(rows) != said.rows:
            count = sum(len(one.times) for one in rows.values())
            found.append(f"{series.name}: rows of {of} were altered: {count} are there, {said.values} were imported.")
    return _first(found)


def _original(series: Database, said: ImportBody, of: str) -> list[str]:
    """Compare the bytes of an imported file with the digest in its entry."""
    try:
        raw = originals.read(series, said.digest)
    except ValueError as fault:
        return [f"{series.name}: the file of {of} is not as it was imported: {fault}."]
    return [] if raw is not None else [f"{series.name}: the file of {of} is missing."]


def _figures(series: Database) -> list[str]:
    """Compare the kept hourly figures of each chunk with a recomputation from its values."""
    found: list[str] = []
    for channel, first, kept, *row in series.walk(
        "SELECT chunk.channel, chunk.first, hours.content, import_id, channel, first, last, count, step, times, flags, "
        "chunk.content FROM chunk LEFT JOIN hours ON hours.chunk_id = chunk.id ORDER BY chunk.id"
    ):
        try:
            again = hourly(*chunks.unpack(tuple(row)))
        except ValueError:
            continue  # told with its import
        if kept is not None and again.tobytes() != bytes(kept):
            start = ledger.moment(first * 1_000_000)
            found.append(
                f"{series.name}: the hours of {channel} from {start:%Y-%m-%d %H:%M} UTC differ from its values."
            )
    return _first(found)


def _first(found: list[str]) -> list[str]:
    more = len(found) - MOST_TOLD
    return found if more <= 0 else [*found[:MOST_TOLD], f"... and {more} more of the same sort."]
