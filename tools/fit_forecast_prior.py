"""Fit the packaged rules of the stream forecast on open records: `python -m tools.fit_forecast_prior`.

Only records that may be copied (public domain, MIT, BSD) go in. Each record weighs by a root of its storms and two
records of one stream share its weight, so that one long record does not speak for all.
"""

import os
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only wait for one another

import numpy as np

from tools.forecast_records import Record, records
from weirhouse.twin.forecast.conditional import FEATURES, PROBABILITIES, REGIMES, Conditional, fit, lessons
from weirhouse.twin.forecast.features import LEADS
from weirhouse.twin.forecast.series import lay_out, scale_of
from weirhouse.twin.forecast.storms import storms

TABLE = Path(__file__).parents[1] / "src" / "weirhouse" / "twin" / "forecast" / "prior.csv"
POWER = 0.4  # of a record's storms: what it weighs
ROWS = 2500  # of each record, at most, to a regime
PULL = 1e-3  # of the ridge toward no change, in units of the mean loss


def prior(given: list[Record]) -> Conditional:
    """Return the rules that the records teach."""
    taught = []
    for record in given:
        good = record.track.good
        grid = lay_out(record.track, int(good.times[-1]), scale_of(good.values))
        own = storms(grid)
        alike = sum(other.stream == record.stream for other in given)
        taught.append((lessons(grid, own, rows_each=ROWS), max(len(own), 1) ** POWER / alike))
    rules = {}
    everything = np.vstack([lesson.rows[0][lesson.moving] for lesson, _ in taught])
    sizes = np.sqrt((everything**2).mean(axis=0))
    sizes[sizes < 1e-6] = 1.0
    for regime in REGIMES:
        table = np.empty((len(LEADS), len(PROBABILITIES), len(FEATURES)))
        for i in range(len(LEADS)):
            rows, moved, weights = [], [], []
            for lesson, weight in taught:
                use = np.flatnonzero((lesson.moving == (regime == "moving")) & np.isfinite(lesson.moved[i]))
                if len(use):
                    rows.append(lesson.rows[i][use] / sizes)
                    moved.append(lesson.moved[i][use])
                    here = lesson.weights[use]
                    weights.append(weight * here / here.sum())
            table[i] = fit(
                np.vstack(rows), np.concatenate(moved), np.concatenate(weights),
                np.zeros((len(PROBABILITIES), len(FEATURES))), PULL, rounds=40,
            )  # fmt: skip
        rules[regime] = table
    return Conditional(rules=rules, sizes=sizes)


def write(rules: Conditional, given: list[Record]) -> str:
    """Return the table with its provenance."""
    lines = [
        "# Quantile rules of the stream forecast: coefficients for features divided by the row `size`.",
        "# Fitted by tools/fit_forecast_prior.py on open records; figures of measured streams, no data of theirs:",
        *(f"# - {record.name} ({record.licence})" for record in given),
        "regime,lead_h,probability," + ",".join(FEATURES),
        "size,,," + ",".join(f"{v:.4g}" for v in rules.sizes),
    ]
    for regime in REGIMES:
        for i, lead in enumerate(LEADS):
            for j, p in enumerate(PROBABILITIES):
                lines.append(f"{regime},{lead},{p}," + ",".join(f"{v:.4g}" for v in rules.rules[regime][i, j]))
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    usable = [record for record in records()[0] if record.fits]
    TABLE.write_text(write(prior(usable), usable), encoding="utf-8")
    print(f"{TABLE.name}: {len(usable)} records")
