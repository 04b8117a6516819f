"""How does one file become one import? The only part of the room that meets the store."""

from collections.abc import Callable, Sequence
from collections.abc import Mapping as Table
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.records.importing import mapping as mappings
from weirhouse.records.importing import numbers
from weirhouse.records.importing import plan as plans
from weirhouse.records.importing import source as sources
from weirhouse.records.importing.fields import Refusals
from weirhouse.records.importing.mapping import Mapping
from weirhouse.records.importing.names import ChannelLike
from weirhouse.records.importing.plan import Plan, PlannedColumn, PlannedResult, PlannedSeries
from weirhouse.records.importing.problem import FileProblem
from weirhouse.records.importing.result import ColumnResult, ImportResult
from weirhouse.records.model import ClosedError, Import, Reading, Receipt, Series


class PlantLike(Protocol):
    """What is needed of the plant."""

    @property
    def channels(self) -> Table[str, ChannelLike]:
        """What is measured, by id."""

    @property
    def zone(self) -> ZoneInfo:
        """Time zone of the plant."""


class StoreLike(Protocol):
    """What is needed of the records."""

    def values(
        self, channel: str, since: datetime | None = None, until: datetime | None = None, *, readings: bool = True
    ) -> Series:
        """Return the values of a channel that count."""

    def readings(
        self, channel: str | None = None, since: datetime | None = None, until: datetime | None = None
    ) -> Sequence[Reading]:
        """Return the readings that count."""

    def imports(self) -> Sequence[Import]:
        """Return every import, the withdrawn ones marked."""

    def add_import(
        self,
        name: str,
        digest: str,
        series: Sequence[Series],
        readings: Sequence[Reading],
        *,
        person: str,
        entered_at: datetime,
        detail: dict[str, Any],
        original: bytes = b"",
        reason: str = "",
    ) -> Receipt:
        """Store an import whole, or nothing of it."""

    def require_open(
        self, name: str, series: Sequence[Series], readings: Sequence[Reading], entered_at: datetime
    ) -> None:
        """Refuse what would change a closed day or month: ClosedError."""


def read_mapping(path: Path) -> Mapping:
    """Return the mapping file at `path`; FileProblem where it cannot be used."""
    return mappings.read(path)


def import_file(
    store: StoreLike,
    plant: PlantLike,
    path: Path,
    mapping: Mapping | Path | None = None,
    *,
    dry_run: bool,
    person: str,
    entered_at: datetime,
    tick: Callable[[float], None] | None = None,
    reason: str = "",
) -> ImportResult:
    """Import the file at `path` into the records, or with `dry_run` show exactly what would be stored.

    Parameters
    ----------
    mapping:
        What the operator says about the file, or the TOML file that says it; without it the file is read by detection.
    entered_at:
        Now, with a time zone. Times more than a day later are refused.
    tick:
        Called with the share done, 0 to 1.
    reason:
        Why it comes late, where it says anything new of a day or month that is closed.

    Raises
    ------
    FileProblem
        In one sentence, where nothing of the file can be used or a question must be answered first. Nothing is stored.
    """
    tell = tick or (lambda _share: None)
    if entered_at.tzinfo is None:
        raise ValueError("entered_at has no time zone. Pass an aware datetime.")
    said = mappings.read(mapping) if isinstance(mapping, Path) else mapping or mappings.NONE
    source = sources.read(Path(path))
    tell(0.1)
    plan = plans.plan(source, plant.channels, plant.zone, said, entered_at)
    tell(0.5)
    before = _imported_before(store, source, _read_as(plan, said))
    series, there = _new_series(store, plan.series, before)
    results, there_too = _new_results(store, plan.results, before)
    there += there_too
    for channel in [*(s.channel for s in series), *(r.channel for r in results)]:
        if before.get(channel):
            raise FileProblem(before[channel])
    stored = sum(len(s.times) for s in series) + len(results)
    import_id, held = None, ""
    rows = [Series(channel=s.channel, times=s.times, values=s.values, flags=s.flags) for s in series]
    readings = [_reading(r, person, source.name) for r in results]
    if stored and dry_run and not reason.strip():
        try:
            store.require_open(source.name, rows, readings, entered_at)
        except ClosedError as error:
            held = str(error)
    if stored and not dry_run:
        receipt = store.add_import(
            source.name,
            source.digest,
            rows,
            readings,
            person=person,
            entered_at=entered_at,
            detail=_detail(plan, source, said),
            original=source.raw,
            reason=reason,
        )
        import_id, stored, there = receipt.import_id, receipt.stored, there + receipt.already_there
    tell(1.0)
    return replace(_result(plan, source, plant, stored, there, dry_run, import_id), held=held)


def _moment(seconds: int) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


def _imported_before(store: StoreLike, source: sources.Source, now: dict[str, list[str]]) -> dict[str, str]:
    """Return the channels that an import of these same bytes has brought before and that count.

    What has been put right since then stays so: the same file once more does not bring an old value back. Where the
    file was read in another way then, the channel comes with the sentence that refuses it should its values differ.
    """
    found: dict[str, str] = {}
    for one in store.imports():
        if one.digest != source.digest or one.withdrawn is not None:
            continue
        for channel, how in dict(one.detail.get("columns", {})).items():
            if channel not in now:
                continue
            then, today = (", ".join(h for h in some if h) for some in (how, now[channel]))
            if list(how) == now[channel]:
                found[channel] = ""
            else:
                found.setdefault(
                    channel,
                    f"{source.name} was imported on {one.entered_at:%Y-%m-%d} and {channel} was read otherwise then "
                    f"({then}; now {today}). Withdraw that import ({one.id}) first.",
                )
    return found


def _new_series(
    store: StoreLike, planned: Sequence[PlannedSeries], before: dict[str, str]
) -> tuple[list[PlannedSeries], int]:
    """Return what of the series is not in the records yet, and how many values are."""
    new, there = [], 0
    for one in planned:
        if not len(one.times):
            continue
        since, until = _moment(int(one.times[0])), _moment(int(one.times[-1]) + 1)
        had = store.values(one.channel, since, until, readings=False)
        if not len(had.times):
            new.append(one)
            continue
        at = np.minimum(np.searchsorted(had.times, one.times), len(had.times) - 1)
        same = had.times[at] == one.times
        if before.get(one.channel, "otherwise"):
            same &= (had.flags[at] == one.flags) & (
                (had.values[at] == one.values) | (np.isnan(had.values[at]) & np.isnan(one.values))
            )
        there += int(same.sum())
        if not same.all():
            new.append(PlannedSeries(one.channel, one.times[~same], one.values[~same], one.flags[~same]))
    return new, there


def _new_results(
    store: StoreLike, planned: Sequence[PlannedResult], before: dict[str, str]
) -> tuple[list[PlannedResult], int]:
    """Return the laboratory results that are not in the records yet, and how many are."""
    had: set[tuple[str, int, float | None, str]] = set()
    stands = {channel for channel, otherwise in before.items() if not otherwise}
    for channel in {r.channel for r in planned} - stands:
        times = [r.time for r in planned if r.channel == channel]
        for reading in store.readings(channel, _moment(min(times)), _moment(max(times) + 1)):
            had.add((channel, int(reading.taken_at.timestamp()), reading.value, reading.qualifier))
    new = [r for r in planned if r.channel not in stands and (r.channel, r.time, r.value, r.qualifier) not in had]
    return new, len(planned) - len(new)


def _reading(result: PlannedResult, person: str, file: str) -> Reading:
    return Reading(
        channel=result.channel,
        value=result.value,
        taken_at=_moment(result.time),
        unit=result.unit,
        text=result.text,
        qualifier=result.qualifier,
        flag=result.flag,
        person=person,
        note=f"from {file}, line {result.line} ({result.heading})",
    )


def _detail(plan: Plan, source: sources.Source, said: Mapping) -> dict[str, Any]:
    return {
        "form": plan.parsed.form,
        "rows": plan.parsed.rows,
        "columns": _read_as(plan, said),
        "clock": plan.parsed.clock,
        "encoding": source.encoding,
        "refused_count": plan.parsed.refused.count,
        "repeated": plan.repeated,
        "remarks": list(dict.fromkeys(plan.parsed.remarks)),
    }


def _read_as(plan: Plan, said: Mapping) -> dict[str, list[str]]:
    """Return for each channel how it was read: heading, unit, clock, and what a mapping says of cells and rows."""
    settings = {
        "decimal": said.decimal,
        "date order": said.order,
        "gaps": sorted(said.gaps),
        "flags": dict(sorted(said.flags.items())),
        "where": dict(sorted(said.where.items())),
        "kind": said.kind,
    }
    words = "; ".join(f"{key} {value}" for key, value in settings.items() if value)
    return {c.channel: [c.heading, c.unit, plan.parsed.clock, words] for c in plan.columns}


def _result(
    plan: Plan,
    source: sources.Source,
    plant: PlantLike,
    stored: int,
    there: int,
    dry_run: bool,
    import_id: str | None,
) -> ImportResult:
    parsed, span, zone = plan.parsed, plan.span, plant.zone
    return ImportResult(
        name=source.name,
        form=parsed.form,
        rows=parsed.rows,
        stored=stored,
        already_there=there,
        refused=_refused(parsed.refused),
        refused_count=parsed.refused.count,
        columns=tuple(_column(c, plant) for c in plan.columns if len(c.times)),
        first=None if span is None else _moment(span[0]).astimezone(zone),
        last=None if span is None else _moment(span[1]).astimezone(zone),
        clock=parsed.clock,
        nights=tuple(parsed.nights),
        unmapped=tuple(parsed.unmapped),
        questions=tuple(parsed.questions),
        remarks=tuple(dict.fromkeys(parsed.remarks)),
        gaps=dict(parsed.gaps),
        repeated=plan.repeated,
        dry_run=dry_run,
        import_id=import_id,
    )


def _refused(refusals: Refusals) -> tuple[tuple[int, str], ...]:
    kept = tuple(sorted(refusals.kept))
    more = refusals.count - len(kept)
    return (*kept, (kept[-1][0], f"and {more} refusals more, not listed")) if more and kept else kept


def _column(column: PlannedColumn, plant: PlantLike) -> ColumnResult:
    channel = plant.channels[column.channel]
    known = column.values[np.isfinite(column.values)]
    marks = {numbers.BELOW: "<", numbers.ABOVE: ">"}
    sample = tuple(
        (_moment(time).astimezone(plant.zone), value, marks.get(flag, ""))
        for time, value, flag in zip(
            column.times[:3].tolist(), column.values[:3].tolist(), column.flags[:3].tolist(), strict=True
        )
    )
    return ColumnResult(
        heading=column.heading,
        stated_unit=column.unit,
        channel=column.channel,
        title=channel.name,
        unit=channel.unit,
        inside=channel.inside,
        count=len(column.times),
        first=_moment(int(column.times[0])).astimezone(plant.zone),
        last=_moment(int(column.times[-1])).astimezone(plant.zone),
        least=float(known.min()) if len(known) else float("nan"),
        greatest=float(known.max()) if len(known) else float("nan"),
        sample=sample,
        marked={what: int(n) for flag, what in _MARKED.items() if (n := np.count_nonzero(column.flags == flag))},
    )


_MARKED = {
    numbers.DOUBTFUL: "doubtful",
    numbers.REJECTED: "rejected",
    numbers.BELOW: "below the detection limit",
    numbers.ABOVE: "above the range",
}

__all__ = ["FileProblem", "PlantLike", "StoreLike", "import_file", "read_mapping"]
