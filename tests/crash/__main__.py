"""Kill and cut so many times; say what was lost. ``make crash KILLS=1000 CUTS=100000 SEED=1``.

Leaves with exit status 1 when anything acknowledged was lost, stored twice or damaged, or when a control that must lose
did not. With ``--write PAGE`` the figures go into that page.
"""

import argparse
import math
import sys
import tempfile
import time
from pathlib import Path

from tests.crash import cuts, figures, kills, shim

CONTROLS = ("NORMAL", "OFF")
A_CONTROL = 2000  # cuts


def main() -> int:
    """Run it."""
    ask = argparse.ArgumentParser(prog="python -m tests.crash", description=__doc__)
    ask.add_argument("--kills", type=int, default=20)
    ask.add_argument("--cuts", type=int, default=2000)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--batch", type=int, default=100, help="readings in one sending, at most; more for a slow machine")
    ask.add_argument("--write", type=Path, help="a page with the marks that the figures go between")
    ask.add_argument("--keep", action="store_true", help="let the figures of earlier runs stand in that page")
    ask.add_argument(
        "--minutes", type=float, default=math.inf, help="begin nothing more after so long; tell what was done"
    )
    asked = ask.parse_args()
    until = time.monotonic() + 60 * asked.minutes

    def say(words: str) -> None:
        print(words, flush=True)

    with tempfile.TemporaryDirectory(prefix="weirhouse-crash-") as name:
        work = Path(name)
        killed = kills.run(work, asked.kills, asked.seed, batch=asked.batch, until=until, say=say)
        cut: list[cuts.Cuts] = []
        why = shim.possible()
        if asked.cuts and why:
            say(f"No power cuts: {why}.")
        elif asked.cuts:
            cut.append(cuts.run(work, asked.cuts, asked.seed, until=until, say=say))
            cut += [
                cuts.run(work, min(A_CONTROL, asked.cuts), asked.seed, synchronous=level, say=say) for level in CONTROLS
            ]
    text = figures.told(asked.seed, killed, cut)
    say(f"\n{text}\n")
    wrong = list(killed.told) + [words for one in cut for words in one.told]
    for words in wrong[:20]:
        say(words)
    good = (killed.good or not asked.kills) and all(
        one.good if one.synchronous == "FULL" else one.losing + one.corrupt > 0 for one in cut
    )
    say("Nothing that was acknowledged was lost, stored twice or damaged; the controls lost." if good else "AT FAULT.")
    if asked.write:
        figures.write(asked.write, text, keep=asked.keep)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
