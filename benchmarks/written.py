"""How do measured figures come into the documentation? Printed as they are measured, and put there by the script."""

import argparse
import re
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

from benchmarks.result import Result

DOCS = Path(__file__).parents[1] / "docs" / "benchmarks.md"


def main(name: str, measured: Iterable[Result], about: str | None) -> int:
    """Print a table; with --write put it between the marks of that name. Return 1 where a goal was missed.

    Parameters
    ----------
    name : of the module in `benchmarks`, and of the marks in docs/benchmarks.md.
    measured : the results, measured as they are asked for.
    about : what the command says of itself.
    """
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--write", action="store_true", help="put the table into docs/benchmarks.md")
    write = parser.parse_args().write
    lines = ["| what | ratio | at most | goal | measured |", "|---|---|---|---|---|"]
    print("\n".join(lines), flush=True)
    missed = 0
    for result in measured:
        missed += not result.met
        lines.append(result.row())
        print(result.row(), flush=True)
    if write:
        said = f"Measured on {datetime.now(UTC):%-d %B %Y} by `python -m benchmarks.{name} --write`:\n\n"
        said += "\n".join(lines) + "\n"
        place = re.compile(rf"(<!-- {name}: begin -->\n).*?(<!-- {name}: end -->)", re.DOTALL)
        DOCS.write_text(place.sub(lambda found: found[1] + said + found[2], DOCS.read_text("utf-8")), "utf-8")
    return 1 if missed else 0
