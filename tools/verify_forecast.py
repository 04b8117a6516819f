"""How good is the stream's forecast on open records? `make verify-forecast` writes the table into docs/forecast.md.

Storm windows alone, by the rule of `weirhouse.twin.forecast.storms`, the same for every record. Every storm is forecast
by rules that never saw it: the packaged rules are fitted anew without the stream (leave one stream out), and what the
own record teaches leaves out the storm's window. The seed is fixed.
"""

import argparse
import os
import platform
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only wait for one another

import numpy as np
from numpy.typing import NDArray

from tools.fit_forecast_prior import prior
from tools.forecast_records import Record, records
from weirhouse.situation.model import Track
from weirhouse.twin.forecast import forecast
from weirhouse.twin.forecast.conditional import Conditional
from weirhouse.twin.forecast.learned import Learned, learn
from weirhouse.twin.forecast.model import VERSION
from weirhouse.twin.forecast.scores import covered, crps, pit
from weirhouse.twin.forecast.series import PER_HOUR, STEP, Grid, lay_out, scale_of
from weirhouse.twin.forecast.storms import AFTER, BEFORE, LEAST_PEAK, TIMES_BASE, Storm, storms

SEED = 20261127
LEADS = (1, 6, 24, 72)  # [h]
MEMBERS = 200
EVERY = 8  # h between issue times in a window; the first is drawn
MOST_STORMS = 30  # of one record, drawn
FOLDS = 5  # of a record's storms; a fold is left out together, which is stricter than one storm
PAST_STORMS = 12  # of one record, drawn, where all is learned anew before each
NEAR = 3  # points (45 min) within which a reading must lie for its straight-line neighbour to be scored
BLOCK = 12  # issue times to a block of the bootstrap, about one storm
RESAMPLES = 500
READ_DAYS = 100  # of record before an issue time that the forecast looks at for the present state
FLOOR = 0.1  # [NTU] least that a logarithm is taken of
UNVERIFIED = 5  # storms, below which a record's figures prove nothing
SHARES = (0.5, 0.8, 0.95)
PAGE = Path(__file__).parents[1] / "docs" / "forecast.md"
BEGIN = "<!-- what was measured: written by make verify-forecast -->"
END = "<!-- end of what was measured -->"


@dataclass(frozen=True, slots=True, kw_only=True)
class Scored:
    """Scores of one way of forecasting one record: rows issue times in order, columns `LEADS`; NaN where no value."""

    record: str
    stream: str
    way: str
    storms: int
    storm: NDArray[np.int64]  # which storm an issue time belongs to
    ours: NDArray[np.float64]  # CRPS
    dressed: NDArray[np.float64]
    climate: NDArray[np.float64]
    inside: NDArray[np.float64]  # (rows, leads, shares) covered or not
    pits: NDArray[np.float64]


def log_of(ntu: NDArray[np.float64], offset: float) -> NDArray[np.float64]:
    """Return ln of readings above the instrument's offset, at least of `FLOOR`."""
    return np.asarray(np.log(np.maximum(ntu - offset, FLOOR)))


def even(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return `MEMBERS` members laid out evenly over the values."""
    return np.asarray(np.quantile(values, (np.arange(MEMBERS) + 0.5) / MEMBERS))


def issue_times(grid: Grid, storm: Storm, rng: np.random.Generator) -> NDArray[np.int64]:
    """Return grid points in a storm's window, every `EVERY` h, at which something was measured."""
    points = np.arange(storm.first + int(rng.integers(EVERY * PER_HOUR)), storm.last + 1, EVERY * PER_HOUR)
    return np.asarray(points[grid.measured[points] & np.isfinite(grid.z[points])], np.int64)


def dressing(logs: NDArray[np.float64], windows: list[Storm], lead: int) -> list[NDArray[np.float64]]:
    """Return, of each window, the hourly changes over a lead: what persistence gets wrong there."""
    changes = []
    for storm in windows:
        points = np.arange(storm.first, storm.last + 1, PER_HOUR)
        points = points[points + lead * PER_HOUR < len(logs)]
        moved = logs[points + lead * PER_HOUR] - logs[points]
        changes.append(moved[np.isfinite(moved)])
    return changes


def _some(changes: list[NDArray[np.float64]], everything: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Return the changes joined; where other storms have none, those of every storm."""
    joined = np.concatenate([*changes, np.empty(0)])
    return joined if len(joined) else np.concatenate(everything)


def score(
    record: Record, way: str, teach: Callable[[Grid, Storm, NDArray[np.bool_]], Learned], days: float = READ_DAYS
) -> Scored:
    """Return the scores of a record; `teach` gives what is known when a storm is forecast, `days` are looked at."""
    good = record.track.good
    scale = scale_of(good.values)
    grid = lay_out(record.track, int(good.times[-1]), scale)
    near = np.convolve(grid.measured, np.ones(2 * NEAR + 1), mode="same") > 0
    ntu = np.where(near, scale.back(grid.z), np.nan)
    logs = log_of(ntu, scale.offset)
    everything = storms(grid)
    rng = np.random.default_rng([SEED, len(grid.z)])
    most = PAST_STORMS if way == PAST else MOST_STORMS
    chosen = sorted(rng.choice(len(everything), min(most, len(everything)), replace=False).tolist())
    dress = {lead: dressing(logs, everything, lead) for lead in LEADS}
    times = grid.times
    day = (times // 86400) % 365.25
    rows: dict[str, list[NDArray[np.float64]]] = {"ours": [], "dressed": [], "climate": [], "pits": []}
    inside, of_storm = [], []
    for fold in range(min(FOLDS, len(chosen))):
        mine = chosen[fold::FOLDS]
        out = np.zeros(len(grid.z), np.bool_)
        for k in mine:
            out[everything[k].first : everything[k].last + 1] = True
        known: Learned | None = None
        for k in mine:
            storm = everything[k]
            if known is None or way == PAST:
                known = teach(grid, storm, out)
            near = np.abs((day - day[storm.peak] + 182.6) % 365.25 - 182.6) <= 45
            season = logs[near & ~out & np.isfinite(logs)]
            climate = even(season if len(season) > 30 * 24 * PER_HOUR else logs[~out & np.isfinite(logs)])
            others = {
                lead: _some([c for i, c in enumerate(dress[lead]) if i not in mine], dress[lead]) for lead in LEADS
            }
            for point in issue_times(grid, storm, rng):
                at = int(times[point])
                given = upto(record.track, at, days)
                made = forecast(
                    given, at=datetime.fromtimestamp(at, UTC), members=MEMBERS, seed=SEED, step_s=3600, learned=known
                )
                row = np.full((4, len(LEADS)), np.nan)
                cover = np.full((len(LEADS), len(SHARES)), np.nan)
                for i, lead in enumerate(LEADS):
                    later = point + lead * PER_HOUR
                    if later >= len(logs) or not np.isfinite(logs[later]) or not len(others[lead]):
                        continue
                    seen = logs[later]
                    members = log_of(made.raw[:, lead], scale.offset)
                    row[0, i] = crps(members, seen)
                    row[1, i] = crps(logs[point] + even(others[lead]), seen)
                    row[2, i] = crps(climate, seen)
                    row[3, i] = pit(members, seen)
                    cover[i] = [covered(members, seen, share) for share in SHARES]
                for name, values in zip(("ours", "dressed", "climate", "pits"), row, strict=True):
                    rows[name].append(values)
                inside.append(cover)
                of_storm.append(k)
    order = np.argsort(of_storm, kind="stable")
    return Scored(
        record=record.name,
        stream=record.stream,
        way=way,
        storms=len(chosen),
        storm=np.asarray(of_storm)[order],
        inside=np.asarray(inside)[order],
        **{name: np.asarray(values)[order] for name, values in rows.items()},
    )


def upto(track: Track, at: int, days: float) -> Track:
    """Return the last days of a track up to a time."""
    keep = (track.times <= at + STEP // 2) & (track.times > at - days * 86400)
    return replace(track, times=track.times[keep], values=track.values[keep], flags=track.flags[keep])


OWN, PAST, OTHERS = "own record", "own past", "other streams"


def ways(rules: Conditional) -> dict[str, Callable[[Grid, Storm, NDArray[np.bool_]], Learned]]:
    """Return the ways of knowing a stream, from most to least known."""

    def own(grid: Grid, storm: Storm, out: NDArray[np.bool_]) -> Learned:
        return learn(grid, leave_out=out, prior=rules)

    def past(grid: Grid, storm: Storm, out: NDArray[np.bool_]) -> Learned:
        cut = max(storm.first, 2)
        before = Grid(end=int(grid.times[cut - 1]), z=grid.z[:cut], measured=grid.measured[:cut], scale=grid.scale)
        return learn(before, prior=rules)

    def others(grid: Grid, storm: Storm, out: NDArray[np.bool_]) -> Learned:
        nothing = np.ones(len(grid.z), np.bool_)
        return learn(grid, leave_out=nothing, prior=rules)

    return {OWN: own, PAST: past, OTHERS: others}


def skill(ours: NDArray[np.float64], peer: NDArray[np.float64]) -> float:
    """Return 1 - mean CRPS / the peer's."""
    return float(1.0 - ours.mean() / peer.mean())


def interval(
    scored: list[Scored], lead: int, figure: Callable[[NDArray[np.int64], Scored], NDArray[np.float64]],
    joined: Callable[[NDArray[np.float64]], float],
) -> tuple[float, float, float]:  # fmt: skip
    """Return a figure over the pooled rows and its 95 % interval by moving blocks drawn within each record."""
    rng = np.random.default_rng([SEED, lead])
    tables = [figure(np.arange(len(s.storm)), s) for s in scored]
    middle = joined(np.vstack(tables))
    again = []
    for _ in range(RESAMPLES):
        drawn = []
        for table in tables:
            n = len(table)
            if n == 0:
                continue
            size = min(BLOCK, n)
            starts = rng.integers(0, n - size + 1, -(-n // size))
            drawn.append(table[(starts[:, None] + np.arange(size)).ravel()[:n]])
        again.append(joined(np.vstack(drawn)))
    low, high = np.quantile(again, (0.025, 0.975))
    return middle, float(low), float(high)


def lines_of(scored: list[Scored], title: str) -> list[str]:
    """Return the table rows of some scores pooled."""
    lines = []
    for i, lead in enumerate(LEADS):

        def pair(rows: NDArray[np.int64], s: Scored, i: int = i) -> NDArray[np.float64]:
            table = np.column_stack([s.ours[rows, i], s.dressed[rows, i], s.climate[rows, i], s.inside[rows, i]])
            return np.asarray(table[np.isfinite(table).all(axis=1)])

        if not sum(len(pair(np.arange(len(s.storm)), s)) for s in scored):
            continue
        n = sum(len(pair(np.arange(len(s.storm)), s)) for s in scored)
        count = sum(s.storms for s in scored)
        cells = [title, str(count), str(n), str(lead)]
        everything = np.vstack([pair(np.arange(len(s.storm)), s) for s in scored])
        cells += [f"{v:.3f}" for v in everything[:, :3].mean(axis=0)]
        for column in (1, 2):
            m, low, high = interval(scored, lead, pair, lambda t, c=column: skill(t[:, 0], t[:, c]))  # type: ignore[misc]
            cells.append(f"{100 * m:+.0f} ({100 * low:+.0f} to {100 * high:+.0f})")
        for k in range(len(SHARES)):
            m, low, high = interval(scored, lead, pair, lambda t, c=k: float(t[:, 3 + c].mean()))  # type: ignore[misc]
            cells.append(f"{100 * m:.0f} ({100 * low:.0f} to {100 * high:.0f})")
        lines.append("| " + " | ".join(cells) + " |")
    return lines


def verdict(scored: list[Scored], way: str) -> list[str]:
    """Return in words where the goal is met and where it is missed."""
    said = []
    for i, lead in enumerate(LEADS):
        ours = np.concatenate([s.ours[:, i] for s in scored])
        dressed = np.concatenate([s.dressed[:, i] for s in scored])
        inside = np.concatenate([s.inside[:, i] for s in scored])
        ok = np.isfinite(ours)
        gain = 100 * skill(ours[ok], dressed[ok])
        off = [100 * (inside[ok, k].mean() - share) for k, share in enumerate(SHARES)]
        words = []
        if lead in (6, 24):
            words.append(f"{gain:+.1f} % against dressed persistence, goal {'met' if gain > 10 else 'MISSED'}")
        worst = max(off, key=abs)
        words.append(f"coverage off by at most {abs(worst):.1f} points, goal {'met' if abs(worst) <= 5 else 'MISSED'}")
        said.append(f"- {way}, {lead} h: {'; '.join(words)}.")
        if lead in (6, 24):
            gains = {s.record: _gain(s, i) for s in scored if s.storms >= UNVERIFIED}
            short = [f"{name} ({gain:+.0f} %)" for name, gain in gains.items() if gain <= 10]
            if short:
                said[-1] += (
                    f" By record, of those with {UNVERIFIED} storms or more, the goal is missed on: {', '.join(short)}."
                )
    return said


def _gain(scored: Scored, column: int) -> float:
    ok = np.isfinite(scored.ours[:, column])
    return 100 * skill(scored.ours[ok, column], scored.dressed[ok, column])


def pit_rows(scored: list[Scored], way: str) -> list[str]:
    """Return the share of what came in each fifth of the forecast, by lead; even is 20 each."""
    lines = []
    for i, lead in enumerate(LEADS):
        values = np.concatenate([s.pits[:, i] for s in scored])
        values = values[np.isfinite(values)]
        share = np.histogram(values, bins=5, range=(0, 1))[0] / max(len(values), 1)
        lines.append(f"| {way} | {lead} | " + " | ".join(f"{100 * v:.0f}" for v in share) + " |")
    return lines


def main() -> None:
    """Score every record that is there and write the table."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--ways", default=f"{OWN},{PAST},{OTHERS}", help="which ways of knowing a stream, by comma")
    ask.add_argument("--days", type=float, default=READ_DAYS, help="of record before an issue time that are looked at")
    ask.add_argument("--print-only", action="store_true", help="leave the page as it is")
    asked = ask.parse_args()
    wanted = asked.ways.split(",")
    found, absent = records()
    without = {
        stream: prior([r for r in found if r.fits and r.stream != stream]) for stream in {r.stream for r in found}
    }
    results: list[Scored] = []
    for record in found:
        for way, teach in ways(without[record.stream]).items():
            if way in wanted:
                results.append(score(record, way, teach, asked.days))
                print(f"{record.name}, {way}: {results[-1].storms} storms", flush=True)
    text = page(results, found, absent, wanted)
    print(text)
    if not asked.print_only:
        old = PAGE.read_text(encoding="utf-8")
        head, rest = old.split(BEGIN)
        PAGE.write_text(head + BEGIN + "\n" + text + END + rest.split(END)[1], encoding="utf-8")


HEAD = (
    "| record | storms | issue times | lead h | CRPS | dressed persistence | climatology | better than dressed "
    "persistence, % | better than climatology, % | in the 50 % band | in the 80 % band | in the 95 % band |\n"
    "|---|---|---|---|---|---|---|---|---|---|---|---|"
)


def page(results: list[Scored], found: list[Record], absent: list[str], wanted: list[str]) -> str:
    """Return the measured part of the page."""
    lines = [
        f"Run of {datetime.now(UTC):%d %B %Y}; seed {SEED}; method version {VERSION}; Python "
        f"{platform.python_version()}, NumPy {np.__version__}; {MEMBERS} members; an issue time every {EVERY} h of a "
        f"window, at most {MOST_STORMS} storms of a record (drawn; {PAST_STORMS} for its past alone), {FOLDS} folds. "
        "A storm peaks "
        f"{TIMES_BASE:g} times above the median of 30 days and at {LEAST_PEAK:g} NTU or more; its window "
        f"runs from {BEFORE} h before it begins to {AFTER} h after the peak. "
        f"Intervals: 95 %, moving blocks of {BLOCK} issue times, {RESAMPLES} draws.",
        "",
    ]
    for way in wanted:
        some = [r for r in results if r.way == way and r.storms]
        lines += [*verdict(some, way[0].upper() + way[1:]), ""]
    for way in wanted:
        some = [r for r in results if r.way == way and r.storms]
        lines += [f"### {TITLES[way]}", "", HEAD, *lines_of(some, "all")]
        for r in some:
            lines += lines_of([r], r.record + (" (fewer than 5 storms: unverified)" if r.storms < UNVERIFIED else ""))
        lines.append("")
    lines += ["### Where in the forecast what came lay (fifths, %; even is 20 each)", ""]
    lines += ["| way | lead h | lowest | | middle | | highest |", "|---|---|---|---|---|---|---|"]
    for way in wanted:
        lines += pit_rows([r for r in results if r.way == way], way)
    lines += ["", "Records read:", ""]
    lines += [f"- {r.name}: {r.licence}; {'fits the packaged rules' if r.fits else 'scored only'}" for r in found]
    lines += [f"- {name}: not there, skipped" for name in absent]
    return "\n".join(lines) + "\n"


TITLES = {
    OWN: "With the stream's own record, the storm left out",
    PAST: "With the stream's own record before the storm alone",
    OTHERS: "With what other streams taught alone; the own record tells its usual level and pace",
}


if __name__ == "__main__":
    main()
