"""Runs every benchmark and prints the ratios: ``make bench``. Exit status 1 when a goal is missed."""

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from benchmarks import formulas, import_values, kernel, records_10m, report, rules, today_cold, today_served
from benchmarks.result import Result
from weirhouse.demo import make_demo


def main() -> int:
    """Run all, print a table, and return the exit status."""
    print("| what | ratio | at most | goal | measured |\n|---|---|---|---|---|", flush=True)
    missed = 0
    with tempfile.TemporaryDirectory() as folder:
        plant = Path(folder) / "demo"
        make_demo(plant)
        measures: tuple[Callable[[], Result], ...] = (
            lambda: today_cold.measure(plant),
            lambda: today_served.measure(plant),
            lambda: formulas.form_to_answer(plant),
            formulas.scalar_call,
            formulas.million_waters,
            import_values.measure,
        )
        for measure in measures:
            result = measure()
            missed += not result.met
            print(result.row(), flush=True)
    for several in (records_10m.measure, rules.measure, report.measure, kernel.measure):
        for result in several():
            missed += not result.met
            print(result.row(), flush=True)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
