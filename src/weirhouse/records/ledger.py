"""What was entered, by whom, when, and does it still count? The chain of entries in records.sqlite.

An entry is a line of canonical JSON, sealed by the SHA-256 of the seal before it and its own bytes. A correction is
an entry that replaces another; a withdrawal replaces one by nothing. What is replaced stays, and no longer counts.
"""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec

from weirhouse.records.engine import Database
from weirhouse.records.model import (
    ConflictError,
    DamagedError,
    Entry,
    Event,
    Item,
    Reading,
    RecordsError,
    Result,
    Sample,
    Withdrawal,
    flag_of,
)

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
COLUMNS = "sequence, id, kind, topic, at, replaces, import_id, value, flag, body, hash"
MARKS = "?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?"
LONGEST_NAME = 300  # characters of an id, a channel, the name of a file
MOST_ASKED = 500  # ids in one query

# An entry counts while no other replaces it, and the import that it came with, if any, is not withdrawn.
COUNTS = (
    "NOT EXISTS (SELECT 1 FROM entry AS later WHERE later.replaces = entry.id) AND (entry.import_id IS NULL OR "
    "NOT EXISTS (SELECT 1 FROM entry AS later WHERE later.replaces = entry.import_id))"
)


class ImportBody(msgspec.Struct, kw_only=True, omit_defaults=True):
    """What the ledger says about an import; `rows` is the digest of its series, see `chunks.digest`."""

    name: str
    digest: str
    rows: str
    values: int
    readings: int
    channels: list[str]
    first: datetime | None
    last: datetime | None
    detail: dict[str, Any]
    samples: int = 0
    results: int = 0
    kept: int = 0  # bytes of the file itself, where it is kept beside the series


class Body(msgspec.Struct, kw_only=True, omit_defaults=True):
    """An entry as it is written."""

    id: str
    kind: str
    entered_at: datetime
    person: str
    replaces: str | None = None
    import_id: str | None = None
    reason: str = ""
    reading: Reading | None = None
    event: Event | None = None
    sample: Sample | None = None
    result: Result | None = None
    imported: ImportBody | None = None

    @property
    def item(self) -> Item | None:
        """What was entered; None for a withdrawal and an import."""
        return self.reading or self.event or self.sample or self.result

    @property
    def topic(self) -> str:
        """What the entry is found by."""
        if self.reading:
            return self.reading.channel
        if self.event:
            return self.event.kind
        if self.sample:
            return self.sample.point
        if self.result:
            return self.result.analyte
        return self.imported.name if self.imported else ""

    @property
    def at(self) -> int | None:
        """When it was taken, began or was analysed [UTC epoch us]."""
        if self.reading:
            return micros(self.reading.taken_at)
        if self.event:
            return micros(self.event.started_at)
        if self.sample:
            return micros(self.sample.taken_at)
        if self.result:
            return micros(self.result.analysed_at) if self.result.analysed_at else None
        return micros(self.imported.first) if self.imported and self.imported.first else None

    @property
    def columns(self) -> dict[str, Any]:
        """What stands beside the body to find it by."""
        return {
            "id": self.id, "kind": self.kind, "topic": self.topic, "at": self.at, "replaces": self.replaces,
            "import_id": self.import_id, "value": self.reading.value if self.reading else None,
            "flag": flag_of(self.reading) if self.reading else None,
        }  # fmt: skip

    @property
    def said(self) -> tuple[Any, ...]:
        """What it says, apart from when it was entered: an entry sent twice is the same when this is."""
        return (self.kind, self.replaces, self.import_id, self.item, self.imported)


_decode = msgspec.json.Decoder(Body).decode
_encode = msgspec.json.Encoder(order="sorted").encode


def micros(moment: datetime) -> int:
    """Return UTC epoch microseconds, exactly."""
    return (moment - EPOCH) // MICROSECOND


def moment(us: int) -> datetime:
    """Return the instant of UTC epoch microseconds, exactly."""
    return EPOCH + timedelta(microseconds=us)


def beginning(pair: str) -> bytes:
    """Return what the first entry of a ledger is sealed onto."""
    return hashlib.sha256(f"weirhouse ledger of {pair}".encode()).digest()


def seal(before: bytes, body: str) -> bytes:
    """Return the hash of an entry that follows the hash `before`."""
    return hashlib.sha256(before + body.encode("utf-8", "surrogateescape")).digest()


def written(body: Body) -> str:
    """Return an entry as canonical JSON: keys in order, no spaces, UTF-8, shortest numbers, times in UTC."""
    try:
        return _encode(body).decode()
    except UnicodeEncodeError as fault:
        raise RecordsError(f"The text of {named(body)!a} holds half of a character. Type it again.") from fault


def decode(text: str) -> Body:
    """Return the entry that a line of the ledger is; msgspec.DecodeError where it is none."""
    return _decode(text)


def read(text: str) -> Body:
    """Return the entry that a line of the ledger is; DamagedError where it is none."""
    try:
        return decode(text)
    except (msgspec.DecodeError, UnicodeError) as fault:
        raise DamagedError(
            f"An entry of the records cannot be read ({fault}): it was altered, or its file is damaged. Nothing was "
            "changed. Run: weirhouse check"
        ) from fault


def append(ledger: Database, bodies: Sequence[Body]) -> int:
    """Add entries at the end of the chain, inside of a write. Those whose ids are there already are left out.

    Returns how many were added. Raises ConflictError where an id is there with something else in it.
    """
    for body in bodies:
        _require_names(body)
    there = {id: read(text) for id, text in _bodies(ledger, [body.id for body in bodies])}
    sequence, before = head(ledger)
    rows = []
    for body in bodies:
        known = there.get(body.id)
        if known is not None:
            if known.said != body.said:
                raise ConflictError(
                    f'An entry with the id "{body.id}" is in the records with other content '
                    f"({named(known)}). Nothing was stored. Correct that entry, or give the new one an id of its own."
                )
            continue
        there[body.id] = body
        text = written(body)
        sequence, before = sequence + 1, seal(before, text)
        rows.append((sequence, *body.columns.values(), text, before))
    if rows:
        ledger.run_many(f"INSERT INTO entry ({COLUMNS}) VALUES ({MARKS})", rows)  # noqa: S608 -- constants
        ledger.run("UPDATE head SET sequence = ?, hash = ?", (sequence, before))
    return len(rows)


def _require_names(body: Body) -> None:
    """Refuse names that entries are found by and that cannot be one: too long for an index, or no text."""
    for name in (body.id, body.topic):
        if len(name) > LONGEST_NAME or any(ord(sign) < 32 for sign in name):
            raise RecordsError(
                f"{name[:40]!a} cannot be a name in the records: it is longer than {LONGEST_NAME} characters or holds "
                "signs that cannot be printed. Nothing was stored. Mend the name."
            )


def _bodies(ledger: Database, ids: Sequence[str]) -> Iterator[tuple[str, str]]:
    for start in range(0, len(ids), MOST_ASKED):
        some = ids[start : start + MOST_ASKED]
        marks = ", ".join("?" * len(some))
        yield from ledger.rows(f"SELECT id, body FROM entry WHERE id IN ({marks})", some)  # noqa: S608 -- marks only


def there(ledger: Database, ids: Sequence[str]) -> set[str]:
    """Return which of these ids the ledger has."""
    return {id for id, _ in _bodies(ledger, ids)}


def added(ledger: Database, kind: str, topic: str, after: int) -> list[tuple[int, Body]]:
    """Return the entries of a kind on a topic that were added after a place in the ledger, in order."""
    rows = ledger.rows(
        "SELECT sequence, body FROM entry WHERE kind = ? AND topic = ? AND sequence > ? ORDER BY sequence",
        (kind, topic, after),
    )
    return [(int(sequence), read(text)) for sequence, text in rows]


def sample_in_force(ledger: Database, id: str) -> Sample | None:
    """Return the form in force of a sample, by the id of any of its forms; None where it was withdrawn."""
    body = find(ledger, id)
    while body is not None:
        later = replaced_by(ledger, body.id)
        if later is None:
            return body.sample
        body = later
    return None


def find(ledger: Database, id: str) -> Body | None:
    """Return the entry with that id."""
    found = ledger.row("SELECT body FROM entry WHERE id = ?", (id,))
    return read(found[0]) if found else None


def replaced_by(ledger: Database, id: str) -> Body | None:
    """Return the entry that corrects or withdraws the one with that id."""
    found = ledger.row("SELECT body FROM entry WHERE replaces = ?", (id,))
    return read(found[0]) if found else None


def in_force(
    ledger: Database, kind: str, topics: Sequence[str] | None, since: datetime | None, until: datetime | None
) -> Iterator[Body]:
    """Yield the entries of a kind that count, from `since` to before `until`, by time and then as entered."""
    where, values = _chosen(kind, topics, since, until)
    for (text,) in ledger.rows(f"SELECT body FROM entry WHERE {where} ORDER BY at, sequence", values):  # noqa: S608 -- marks only
        yield read(text)


def reading_values(
    ledger: Database, channel: str, since: datetime | None, until: datetime | None
) -> list[tuple[int, float | None, int]]:
    """Return time [UTC epoch us], value and flag of the readings of a channel that count, by time, from the index."""
    where, values = _chosen("reading", [channel], since, until)
    return ledger.rows(f"SELECT at, value, flag FROM entry WHERE {where} ORDER BY at, sequence", values)  # noqa: S608 -- marks only


def _chosen(
    kind: str, topics: Sequence[str] | None, since: datetime | None, until: datetime | None
) -> tuple[str, list[Any]]:
    """Return the condition for entries that count, of a kind, on some topics, within a time; and its values."""
    where, values = ["kind = ?"], [kind, *(topics or ())]
    if topics is not None:
        where.append(f"topic IN ({', '.join('?' * len(topics))})")
    bounds: list[Any] = []
    for sign, end in ((">=", since), ("<", until)):
        if end is not None:
            where.append(f"at {sign} ?")
            bounds.append(micros(end))
    return " AND ".join([*where, COUNTS]), [*values, *bounds]


def newest_reading(ledger: Database, channel: str, at: datetime) -> Reading | None:
    """Return the newest reading of a channel that counts, taken at or before an instant."""
    found = ledger.row(
        f"SELECT body FROM entry WHERE kind = 'reading' AND topic = ? AND at <= ? AND {COUNTS} "  # noqa: S608 -- constant
        "ORDER BY at DESC, sequence DESC LIMIT 1",
        (channel, micros(at)),
    )
    return read(found[0]).reading if found else None


def reading_span(ledger: Database) -> tuple[datetime, datetime] | None:
    """Return when the first and the last reading that count were taken."""
    ends = []
    for order in ("ASC", "DESC"):
        found = ledger.row(
            f"SELECT at FROM entry WHERE kind = 'reading' AND {COUNTS} ORDER BY at {order} LIMIT 1"  # noqa: S608 -- constant
        )
        if found is None:
            return None
        ends.append(moment(found[0]))
    return ends[0], ends[1]


def reading_channels(ledger: Database) -> set[str]:
    """Return the channels of which at least one reading counts."""
    found: set[str] = set()
    topic = ""
    while True:  # from one channel to the next along the index, not through every reading
        row = ledger.row("SELECT min(topic) FROM entry WHERE kind = 'reading' AND topic > ?", (topic,))
        if row is None or row[0] is None:
            return found
        topic = str(row[0])
        if ledger.row(f"SELECT 1 FROM entry WHERE kind = 'reading' AND topic = ? AND {COUNTS} LIMIT 1", (topic,)):  # noqa: S608 -- constant
            found.add(topic)


def forms(ledger: Database, kind: str) -> dict[str, str]:
    """Return for the id of every entry of a kind, whether it counts or not, the id of its first form."""
    first: dict[str, str] = {}
    for id, replaces in ledger.rows("SELECT id, replaces FROM entry WHERE kind = ? ORDER BY sequence", (kind,)):
        first[str(id)] = first.get(str(replaces or ""), str(id))
    return first


def topics(ledger: Database) -> list[tuple[str, str]]:
    """Return the kinds of what was entered, each with its topics, in order."""
    rows = ledger.rows(
        "SELECT DISTINCT kind, topic FROM entry WHERE kind NOT IN ('import', 'withdrawal') ORDER BY kind, topic"
    )
    return [(str(kind), str(topic)) for kind, topic in rows]


def tally(ledger: Database, kind: str, topic: str, until: datetime) -> tuple[int, datetime, datetime] | None:
    """Return how many entries of a kind and topic lie before an instant, counting or not, the first and the last."""
    found = ledger.row(
        "SELECT count(at), min(at), max(at) FROM entry WHERE kind = ? AND topic = ? AND at < ?",
        (kind, topic, micros(until)),
    )
    return (int(found[0]), moment(found[1]), moment(found[2])) if found and found[0] else None


def imports(ledger: Database) -> list[tuple[int, Body, Withdrawal | None]]:
    """Return every import with its place in the ledger, and who withdrew it if anyone did."""
    rows = ledger.rows(
        "SELECT entry.sequence, entry.body, later.body FROM entry LEFT JOIN entry AS later "
        "ON later.replaces = entry.id WHERE entry.kind = 'import' ORDER BY entry.sequence"
    )
    return [(sequence, read(text), _withdrawal(later)) for sequence, text, later in rows]


def _withdrawal(text: str | None) -> Withdrawal | None:
    if text is None:
        return None
    body = read(text)
    return Withdrawal(person=body.person, entered_at=body.entered_at, reason=body.reason)


def import_ranks(ledger: Database) -> dict[str, int]:
    """Return the imports that count, by id, each with its place in the ledger: the later wins on a same stamp."""
    sql = f"SELECT id, sequence FROM entry WHERE kind = 'import' AND {COUNTS}"  # noqa: S608 -- constant
    return {str(id): int(sequence) for id, sequence in ledger.rows(sql)}


def import_ids(ledger: Database) -> set[str]:
    """Return the ids of all imports, withdrawn or not."""
    return {str(id) for (id,) in ledger.rows("SELECT id FROM entry WHERE kind = 'import'")}


def head(ledger: Database) -> tuple[int, bytes]:
    """Return the number and the hash of the last entry."""
    found = ledger.row("SELECT sequence, hash FROM head")
    if found is None:
        raise RecordsError(f"{ledger.where} does not say where its chain ends. Put the newest backup in its place.")
    return int(found[0]), bytes(found[1])


def hash_at(ledger: Database, sequence: int) -> bytes | None:
    """Return the hash of an entry."""
    found = ledger.row("SELECT hash FROM entry WHERE sequence = ?", (sequence,))
    return bytes(found[0]) if found else None


def counts(ledger: Database) -> dict[str, int]:
    """Return how many entries of each kind there are, whether they count or not."""
    return {str(kind): int(n) for kind, n in ledger.rows("SELECT kind, count(*) FROM entry GROUP BY kind")}


def last_entered(ledger: Database) -> datetime | None:
    """Return when the last entry was made."""
    found = ledger.row("SELECT body FROM entry ORDER BY sequence DESC LIMIT 1")
    return read(found[0]).entered_at if found else None


def history(ledger: Database, id: str) -> Iterator[Entry]:
    """Yield an entry and what it was corrected to, from the first to the one in force, by any of their ids."""
    first: str | None = id
    while first is not None:
        body = find(ledger, first)
        if body is None:
            raise unknown(id)
        id, first = body.id, body.replaces
    next_id: str | None = id
    while next_id is not None:
        row = ledger.row("SELECT sequence, body FROM entry WHERE id = ?", (next_id,))
        if row is None:  # it was found a moment ago by another way
            raise DamagedError(f"{ledger.where} is damaged: what it is found by does not agree with what it holds.")
        body = read(row[1])
        yield entry(row[0], body)
        later = replaced_by(ledger, next_id)
        next_id = later.id if later else None


def entry(sequence: int, body: Body) -> Entry:
    """Return an entry as it is shown: what was entered, by whom and when."""
    return Entry(
        sequence=sequence, id=body.id, kind=body.kind, entered_at=body.entered_at, person=body.person,
        replaces=body.replaces or "", reason=body.reason, import_id=body.import_id or "", item=body.item,
    )  # fmt: skip


def log(ledger: Database, kinds: Sequence[str], since: datetime | None, until: datetime | None) -> Iterator[Entry]:
    """Yield the entries of some kinds that count, from `since` to before `until`, by time and then as entered."""
    for kind in kinds:
        where, values = _chosen(kind, None, since, until)
        sql = f"SELECT sequence, body FROM entry WHERE {where} ORDER BY at, sequence"  # noqa: S608 -- marks only
        for sequence, text in ledger.rows(sql, values):
            yield entry(sequence, read(text))


def words_of(entry: Entry) -> str:
    """Return all the text of an entry in small letters, to look for words in."""
    said = [entry.person, entry.reason]
    if entry.item is not None:
        said += _texts(msgspec.to_builtins(entry.item))
    return "\n".join(said).casefold()


def _texts(said: Any) -> Iterator[str]:
    if isinstance(said, dict):
        for name, value in said.items():
            if name != "id":
                yield from _texts(value)
    elif isinstance(said, list | tuple):
        for value in said:
            yield from _texts(value)
    elif said is not None:
        yield str(said)


def unknown(id: str) -> RecordsError:
    """Return what to say of an id that no entry has."""
    return RecordsError(f'No entry has the id "{id}". Take the id from the day log or from the list of imports.')


def named(body: Body) -> str:
    """Return an entry in words."""
    when = f" of {moment(body.at):%Y-%m-%d %H:%M} UTC" if body.at is not None else ""
    return f"{body.kind} {body.topic}".rstrip() + f"{when} by {body.person or 'nobody named'}"


@dataclass(frozen=True, slots=True)
class Sealed:
    """A row of the ledger, as it stands in the file."""

    sequence: int
    id: str
    kind: str
    topic: str
    at: int | None
    replaces: str | None
    import_id: str | None
    value: float | None
    flag: int | None
    body: str
    hash: bytes


def walk(ledger: Database) -> Iterator[Sealed]:
    """Yield every row of the ledger in its order, those too whose text is no text any more."""
    for row in ledger.walk(f"SELECT {COLUMNS} FROM entry ORDER BY sequence", spoilt=True):  # noqa: S608 -- constant
        yield Sealed(*row)


def utc(what: str, moment: datetime) -> datetime:
    """Return a moment in UTC; refuse one without a time zone."""
    if moment.tzinfo is None:
        raise RecordsError(
            f"The time of {what}, {moment:%Y-%m-%d %H:%M}, has no time zone. Give it in the plant's zone."
        )
    return moment.astimezone(UTC)
