"""How does the rest of Weirhouse read and write the records of a plant? Through this, and nothing else.

Two files in the plant's folder: the ledger (records.sqlite: what people entered, and one entry for each import) and
the series (series.sqlite: the rows of the imports). The ledger says what counts. An import writes its rows first and
its entry last, so that one broken off counts for nothing; its rows are swept away by the next writer.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from weirhouse.records import chunks, closing, entering, files, hours, ledger, originals
from weirhouse.records.chunks import Part, Stored
from weirhouse.records.engine import LEDGER, SERIES, Database
from weirhouse.records.ledger import Body, utc
from weirhouse.records.model import (
    Entry,
    Event,
    Import,
    Item,
    Point,
    Reading,
    Receipt,
    RecordsError,
    Result,
    Rollup,
    Sample,
    Series,
    flag_of,
)
from weirhouse.records.rollup import HOUR, as_rollup, hourly

TYPED = 1 << 62  # rank of a reading: what a person wrote down wins over a series on the same stamp


class Store:
    """The records of one plant. Opened for reading only, it shows one instant of them for as long as it is open."""

    def __init__(self, folder: Path, database: Database) -> None:
        self.folder = folder
        self._ledger = database
        self._series_file: Database | None = None
        self._ranks: dict[str, int] | None = None
        self._closings = closing.Closings(database)

    @classmethod
    def open(cls, folder: Path | str, *, create: bool = False, read_only: bool = False) -> Self:
        """Open the records in a folder; with `create`, make empty ones where there are none.

        Raises
        ------
        RecordsError
            If they are not there, damaged, of another program or of a newer version; nothing is changed then.
        """
        folder = Path(folder)
        if create and not read_only:
            files.create(folder)
        return cls(folder, files.open_file(folder, LEDGER, read_only=read_only))

    @property
    def broken(self) -> bool:
        """Whether the disk failed while this was written to: what was acknowledged stands, nothing more is taken."""
        return any(one is not None and one.broken is not None for one in (self._ledger, self._series_file))

    def close(self) -> None:
        """Close both files."""
        if self._series_file is not None:
            self._series_file.close()
        self._ledger.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    # --- entering

    # What is added may carry a `reason`: why it comes late. Without one, nothing is stored into a closed day or month
    # (ClosedError).

    def add_readings(self, readings: Iterable[Reading], *, entered_at: datetime, reason: str = "") -> int:
        """Store readings and return how many were new. One sent again with the same id and content changes nothing."""
        entered = utc("entry", entered_at)
        bodies = [entering.of_reading(reading, entered) for reading in readings]
        return self._append(bodies, reason)

    def add_events(self, events: Iterable[Event], *, entered_at: datetime, reason: str = "") -> int:
        """Store events and return how many were new. One sent again with the same id and content changes nothing."""
        entered = utc("entry", entered_at)
        bodies = [entering.of_event(event, entered) for event in events]
        return self._append(bodies, reason)

    def add_samples(
        self, samples: Iterable[Sample], *, entered_at: datetime, results: Iterable[Result] = (), reason: str = ""
    ) -> int:
        """Store samples, and results of them or of earlier ones, whole or not at all; return how many were new."""
        entered = utc("entry", entered_at)
        bodies = [entering.of_sample(sample, entered) for sample in samples]
        return self._append([*bodies, *(entering.of_result(result, entered) for result in results)], reason)

    def add_results(self, results: Iterable[Result], *, entered_at: datetime, reason: str = "") -> int:
        """Store results of samples that are in the records, or were; return how many were new."""
        return self.add_samples([], results=results, entered_at=entered_at, reason=reason)

    def correct(self, id: str, replacement: Item | None, *, person: str, reason: str, entered_at: datetime) -> str:
        """Replace what was entered under that id by another, or with None withdraw it; return the new entry's id.

        What it replaces stays in the ledger. A replacement that carries the old id is given a new one.
        """
        entered = utc("correction", entered_at)
        entering.require_words(person, reason, "correct an entry")
        with self._writing():
            old = ledger.find(self._ledger, id)
            if old is None:
                raise ledger.unknown(id)
            body = entering.correction(old, replacement, person, reason, entered)
            if old.import_id and ledger.replaced_by(self._ledger, old.import_id):
                raise RecordsError(f'The entry "{id}" came with an import that was withdrawn, and counts no more.')
            later = ledger.replaced_by(self._ledger, id)
            if later is not None:
                if later.said == body.said:
                    return later.id
                what = "withdrawn" if later.kind == "withdrawal" else "corrected"
                raise RecordsError(
                    f'The entry "{id}" was {what} by {later.person} on {later.entered_at:%Y-%m-%d %H:%M} UTC '
                    f"({later.reason or 'no reason given'}). Nothing was changed. Look at the newest entry first."
                )
            self._require_samples([body])
            ledger.append(self._ledger, [body])
        return body.id

    def _append(self, bodies: Sequence[Body], reason: str) -> int:
        if not bodies:
            return 0
        with self._writing():
            self._require_samples(bodies)
            self._closings.require_open(bodies, reason)
            return ledger.append(self._ledger, bodies)

    def _require_samples(self, bodies: Sequence[Body]) -> None:
        """Refuse results of samples that were never entered."""
        there = {body.id for body in bodies if body.sample}
        for body in bodies:
            if body.result and body.result.sample not in there:
                found = ledger.find(self._ledger, body.result.sample)
                if found is None or found.sample is None:
                    raise RecordsError(
                        f'No sample has the id "{body.result.sample}", which a result of {body.result.analyte} names. '
                        "Nothing was stored. Enter the sample first."
                    )
                there.add(found.id)

    # --- imports

    def add_import(
        self,
        name: str,
        digest: str,
        series: Sequence[Series],
        readings: Sequence[Reading],
        *,
        person: str,
        entered_at: datetime,
        detail: Mapping[str, Any],
        samples: Sequence[Sample] = (),
        results: Sequence[Result] = (),
        original: bytes = b"",
        reason: str = "",
    ) -> Receipt:
        """Store what came in one file, whole or not at all, as one entry with the digest of its rows.

        The same rows of the same file, when its import counts, are there already and stored again they change nothing.
        With the bytes of the file, `original`, they are kept beside the rows; `digest` is their SHA-256.

        Where it changes what stands in a closed day or month, a `reason` is needed (ClosedError).
        """
        entered = utc("import", entered_at)
        if not person:
            raise RecordsError(f"Nobody is named for the import of {name}. Say who imports it.")
        tidy = chunks.tidy(series)
        rows = chunks.digest(tidy)
        bodies = [entering.of_reading(reading, entered) for reading in readings]
        bodies += [entering.of_sample(sample, entered) for sample in samples]
        bodies += [entering.of_result(result, entered) for result in results]
        counted = sum(len(one.times) for one in tidy.values())
        stored = counted + len(bodies)
        key = f"{digest}\n{rows}\n{entering.content(bodies)}"
        imported = entering.of_import(name, digest, rows, tidy, bodies, detail, len(original))
        packed = [chunk for one in tidy.values() for chunk in chunks.pack(one)]  # others may write meanwhile
        with self._writing():
            import_id, counts = self._import_id(key)
            if counts:
                return Receipt(import_id=import_id, stored=0, already_there=stored)
            self._require_samples(bodies)
            self._closings.require_open(bodies, reason)
            if not reason.strip():
                self._require_unchanged(name, tidy)
            if packed or original:
                self._write_rows(packed, import_id, digest, original)
            body = Body(
                id=import_id, kind="import", entered_at=entered, person=person, reason=reason.strip(), imported=imported
            )
            for one in bodies:
                one.import_id = import_id
            ledger.append(self._ledger, [*bodies, body])
        self._ranks = None
        return Receipt(import_id=import_id, stored=stored, already_there=0)

    def require_open(
        self, name: str, series: Sequence[Series], readings: Sequence[Reading], entered_at: datetime
    ) -> None:
        """Refuse what an import without a reason would change in a closed day or month (ClosedError); store nothing."""
        bodies = [entering.of_reading(reading, utc("import", entered_at)) for reading in readings]
        self._closings.require_open(bodies, "")
        self._require_unchanged(name, chunks.tidy(series))

    def _require_unchanged(self, name: str, tidy: Mapping[str, Series]) -> None:
        """Refuse series that say anything else of a closed day or month than the records do."""
        for channel, series in tidy.items():
            for period, first, last in self._closings.touched(series):
                had = self.values(channel, _moment(first), _moment(last + 1), readings=False)
                if closing.changes(series, first, last, (had.times, had.values, had.flags)):
                    raise closing.refused(period, f"other values of {channel} from {name}")

    def _import_id(self, key: str) -> tuple[str, bool]:
        """Return the id of an import, and whether it counts already; one withdrawn may come again under another."""
        for turn in range(1_000_000):
            import_id = entering.worked_out_id(key, f"{turn}")
            if ledger.find(self._ledger, import_id) is None:
                return import_id, False
            if ledger.replaced_by(self._ledger, import_id) is None:
                return import_id, True
        raise RecordsError("The file was imported and withdrawn a million times. Leave it.")

    def _write_rows(self, packed: Sequence[tuple[Stored, bytes]], import_id: str, digest: str, original: bytes) -> None:
        """Write the rows of an import. They count once the ledger, which is held meanwhile, takes the entry."""
        known = {body.id for _, body, _ in ledger.imports(self._ledger)}
        series = self._series()
        with series.writing():
            chunks.sweep(series, known)
            chunks.store(series, import_id, packed)
            if original:
                originals.keep(series, digest, original)

    def withdraw_import(self, import_id: str, *, person: str, reason: str, entered_at: datetime) -> None:
        """Withdraw an import: none of its rows and readings counts any more. Withdrawn again, nothing changes."""
        entered = utc("withdrawal", entered_at)
        entering.require_words(person, reason, "withdraw an import")
        with self._writing():
            old = ledger.find(self._ledger, import_id)
            if old is None or old.kind != "import":
                raise RecordsError(f'No import has the id "{import_id}". Take the id from the list of imports.')
            if ledger.replaced_by(self._ledger, import_id) is not None:
                return
            gone = entering.worked_out_id(import_id, "withdrawn")
            body = Body(
                id=gone, kind="withdrawal", entered_at=entered, person=person, replaces=import_id, reason=reason
            )
            ledger.append(self._ledger, [body])
        self._ranks = None

    def imports(self) -> list[Import]:
        """Return every import in the order of the ledger, the withdrawn ones included and marked."""
        found = []
        for _, body, withdrawn in ledger.imports(self._ledger):
            said = body.imported
            assert said is not None
            found.append(
                Import(
                    id=body.id,
                    name=said.name,
                    digest=said.digest,
                    person=body.person,
                    entered_at=body.entered_at,
                    values=said.values,
                    readings=said.readings,
                    channels=tuple(said.channels),
                    first=said.first,
                    last=said.last,
                    detail=said.detail,
                    samples=said.samples,
                    results=said.results,
                    kept=said.kept,
                    withdrawn=withdrawn,
                )
            )
        return found

    def original(self, import_id: str) -> bytes:
        """Return the file that an import came from, byte for byte. RecordsError where it was not kept."""
        body = ledger.find(self._ledger, import_id)
        if body is None or body.imported is None:
            raise RecordsError(f'No import has the id "{import_id}". Take the id from the list of imports.')
        try:
            found = originals.read(self._series(), body.imported.digest) if body.imported.kept else None
        except ValueError as fault:
            raise RecordsError(
                f'The file "{body.imported.name}" is not as it was imported: {fault}. Take it from a backup.'
            ) from fault
        if found is None:
            raise RecordsError(f'The file "{body.imported.name}" was imported without being kept.')
        return found

    # --- reading

    def readings(
        self, channel: str | None = None, since: datetime | None = None, until: datetime | None = None
    ) -> list[Reading]:
        """Return the readings that count, taken from `since` to before `until`, by time."""
        topics = None if channel is None else [channel]
        found = ledger.in_force(self._ledger, "reading", topics, _utc(since), _utc(until))
        return [body.reading for body in found if body.reading]

    def events(
        self,
        kinds: str | Iterable[str] | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
        subject: str | None = None,
    ) -> list[Event]:
        """Return the events that count and began from `since` to before `until`, by time."""
        topics = None if kinds is None else [kinds] if isinstance(kinds, str) else list(kinds)
        if topics == []:
            return []
        found = ledger.in_force(self._ledger, "event", topics, _utc(since), _utc(until))
        return [body.event for body in found if body.event and subject in (None, body.event.subject)]

    def samples(
        self, point: str | None = None, since: datetime | None = None, until: datetime | None = None
    ) -> list[Sample]:
        """Return the samples that count, taken from `since` to before `until`, by time."""
        found = ledger.in_force(self._ledger, "sample", None if point is None else [point], _utc(since), _utc(until))
        return [body.sample for body in found if body.sample]

    def results(
        self,
        analyte: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
        *,
        sample: str | None = None,
    ) -> list[Result]:
        """Return the results that count, of samples that count and were taken from `since` to before `until`.

        They come by the time of the sample and then as entered, and name the sample in the form in force, by whatever
        form they were entered. `sample` may be the id of any form of one.
        """
        first = ledger.forms(self._ledger, "sample")
        places = {first[one.id]: (place, one.id) for place, one in enumerate(self.samples(None, since, until))}
        if sample is not None:
            wanted = first.get(sample, sample)
            places = {wanted: places[wanted]} if wanted in places else {}
        found = []
        for body in ledger.in_force(self._ledger, "result", None if analyte is None else [analyte], None, None):
            if body.result and first.get(body.result.sample) in places:
                place, id = places[first[body.result.sample]]
                found.append((place, replace(body.result, sample=id)))
        return [result for _, result in sorted(found, key=lambda one: one[0])]

    def history(self, id: str) -> list[Entry]:
        """Return the first form of an entry and every correction of it, in order, from the id of any of them."""
        return list(ledger.history(self._ledger, id))

    def values(
        self,
        channel: str,
        since: datetime | None = None,
        until: datetime | None = None,
        *,
        readings: bool = True,
    ) -> Series:
        """Return what counts of a channel from `since` to before `until`, one value a stamp, in order of time.

        On a same stamp a reading wins over a series, the later import over the earlier, the later reading likewise.
        With `readings=False` only the series are looked at.
        """
        typed = self._typed(channel, since, until) if readings else []
        times, values, flags = chunks.merged(self._parts(channel, since, until) + typed)
        return Series(channel=channel, times=times, values=values, flags=flags)

    def latest(self, channel: str, at: datetime) -> Point | None:
        """Return the newest value of a channel at or before an instant, whatever its flag."""
        at = utc("the question", at)
        reading = ledger.newest_reading(self._ledger, channel, at)
        row = None
        ranks = self._in_force()
        if ranks:
            row = chunks.newest(self._series(), channel, ranks, _floor(at))
        if row is not None and (reading is None or row[0] > _floor(reading.taken_at)):
            time, value, flag, import_id = row
            body = ledger.find(self._ledger, import_id)
            name = body.imported.name if body and body.imported else "an import"
            return Point(
                time=_moment(time), value=None if math.isnan(value) else value, flag=flag, source=f"file {name}"
            )
        if reading is None:
            return None
        return Point(
            time=reading.taken_at, value=reading.value, flag=flag_of(reading), qualifier=reading.qualifier,
            source=reading.device or f'written "{reading.text}"', person=reading.person,
        )  # fmt: skip

    def rollup(self, channel: str, since: datetime | None = None, until: datetime | None = None) -> Rollup:
        """Return the hourly figures of a channel: those of `values(channel, since, until)`, hour by hour of UTC."""
        first, end = _bounds(since, until)
        ranks = self._in_force()
        kept = hours.kept(self._series(), channel, ranks, first, end) if ranks else []
        typed = self._typed(channel, since, until)
        if not kept:
            return as_rollup(hourly(*chunks.merged(typed)))
        held, unsure = hours.sure(kept, typed, first, end)
        starts, ends = np.maximum(unsure, first), np.minimum(unsure + HOUR, end)
        inside = starts < ends
        parts = hours.within(self._series(), kept, ranks, starts[inside], ends[inside]) if inside.any() else []
        worked = hourly(*chunks.merged(parts + typed))
        both = np.concatenate([held, worked])
        return as_rollup(both[np.argsort(both["hour"], kind="stable")])

    def span(self) -> tuple[datetime | None, datetime | None]:
        """Return when the first and the last value of any channel were taken; None and None where there is none."""
        ends = []
        typed = ledger.reading_span(self._ledger)
        if typed:
            ends.append(typed)
        ranks = self._in_force()
        rows = chunks.span(self._series(), ranks) if ranks else None
        if rows:
            ends.append((_moment(rows[0]), _moment(rows[1])))
        if not ends:
            return None, None
        return min(first for first, _ in ends), max(last for _, last in ends)

    def channels(self) -> set[str]:
        """Return the channels of which anything counts."""
        found = ledger.reading_channels(self._ledger)
        ranks = self._in_force()
        return found | (chunks.channels(self._series(), ranks) if ranks else set())

    def closings(self) -> list[closing.Period]:
        """Return the days and months that are closed, in order of time."""
        return self._closings.periods()

    def log(
        self,
        since: datetime | None = None,
        until: datetime | None = None,
        *,
        kinds: Sequence[str] = ("reading", "event", "sample", "result"),
        words: str = "",
    ) -> list[Entry]:
        """Return what was entered and counts, from `since` to before `until`, by time, with who entered it and when.

        `words` are looked for in all that an entry says, whatever their case; every one of them must be there.
        """
        found = list(ledger.log(self._ledger, kinds, _utc(since), _utc(until)))
        for word in words.casefold().split():
            found = [entry for entry in found if word in ledger.words_of(entry)]
        return sorted(found, key=lambda entry: (entry.at or entry.entered_at, entry.sequence))

    def topics(self) -> list[tuple[str, str]]:
        """Return of which kinds and topics there is anything, replaced and withdrawn ones included.

        Kinds are reading, event, sample, result, and series; topics channels, kinds of events, places, analytes.
        """
        ranks = ledger.import_ranks(self._ledger)
        return ledger.topics(self._ledger) + [("series", c) for c in sorted(chunks.channels(self._series(), ranks))]

    def tally(self, kind: str, topic: str, *, until: datetime) -> tuple[int, datetime, datetime] | None:
        """Return how many of a kind and topic lie before an instant, the first and the last; None where none does."""
        if kind != "series":
            return ledger.tally(self._ledger, kind, topic, utc("the question", until))
        series = self.values(topic, None, until, readings=False)
        return (len(series), _moment(int(series.times[0])), _moment(int(series.times[-1]))) if len(series) else None

    def verify(self) -> list[str]:
        """Return what is wrong with the records, in sentences that name the first altered entry; none is good."""
        from weirhouse.records import verify

        return verify.problems(self._ledger, self._series)

    # --- within

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """Hold the only right to write, where the plant's records still lie: they may have been moved meanwhile."""
        with self._ledger.writing():
            files.require_here(self.folder, self._ledger)
            yield

    def _series(self) -> Database:
        """Return the series, opened at first need: where they are damaged, what people entered can still be read."""
        if self._series_file is None:
            opened = files.open_file(self.folder, SERIES, read_only=self._ledger.read_only)
            if files.pair_of(opened) != files.pair_of(self._ledger):
                opened.close()
                raise RecordsError(
                    f"{opened.where} belongs to other records than the {LEDGER.file} beside it. Nothing was changed. "
                    "Put both files back from the same backup."
                )
            self._series_file = opened
        return self._series_file

    def _in_force(self) -> dict[str, int]:
        """Return the imports with series that count, by id, each with its rank."""
        if self._ranks is None or not self._ledger.read_only:
            self._ranks = ledger.import_ranks(self._ledger)
        return self._ranks

    def _parts(self, channel: str, since: datetime | None, until: datetime | None) -> list[Part]:
        ranks = self._in_force()
        first, end = _bounds(since, until)
        return chunks.parts(self._series(), channel, ranks, first, end) if ranks else []

    def _typed(self, channel: str, since: datetime | None, until: datetime | None) -> list[Part]:
        """Return the readings of a channel as one part, to the whole second."""
        some = ledger.reading_values(self._ledger, channel, _utc(since), _utc(until))
        if not some:
            return []
        times, values, flags = zip(*some, strict=True)
        return [
            Part(
                TYPED,
                np.array(times, np.int64) // 1_000_000,
                np.array(values, np.float64),  # None becomes NaN
                np.array(flags, np.uint8),
            )
        ]


def _bounds(since: datetime | None, until: datetime | None) -> tuple[int, int]:
    """Return [first, end) in whole seconds of UTC: a stamp of a series is a whole second."""
    first = chunks.EARLIEST if since is None else -((-ledger.micros(utc("the start", since))) // 1_000_000)
    end = chunks.LATEST if until is None else -((-ledger.micros(utc("the end", until))) // 1_000_000)
    return first, end


def _floor(moment: datetime) -> int:
    return ledger.micros(moment) // 1_000_000


def _moment(seconds: int) -> datetime:
    return ledger.EPOCH + timedelta(seconds=seconds)


def _utc(moment: datetime | None) -> datetime | None:
    return None if moment is None else utc("the question", moment)


__all__ = ["RecordsError", "Store"]
