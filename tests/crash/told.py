"""What did a run that was broken off find until then? Told from what it printed and from the journals that it left.

``python -m tests.crash.told LOG --work FOLDER --seed 1 --commit ID --write docs/reliability.md``: the journals are
counted anew and each plant is examined anew; how many kills and cuts there were is taken from what the run printed.
"""

import argparse
import re
import sys
from pathlib import Path

from tests.crash.cuts import Cuts
from tests.crash.examine import doubled, examine, journal_of, lost
from tests.crash.figures import told, write
from tests.crash.kills import Kills

KILLED = re.compile(r"^([\d,]+) kills, ([\d,]+) readings acknowledged, (\d+) lost, (\d+) double$", re.MULTILINE)
CUT = re.compile(r"^(FULL|NORMAL|OFF): ([\d,]+) cuts, (\d+) losing, (\d+) corrupt$", re.MULTILINE)


def number(text: str) -> int:
    """Return a number as it was printed."""
    return int(text.replace(",", ""))


def kills_of(printed: str, work: Path) -> Kills:
    """Return what was found of kills; the acknowledged ones are those of the plants whose kills were printed."""
    found = Kills()
    lines = KILLED.findall(printed)
    for place, (kills, _, gone, twice) in enumerate(lines, 1):
        folder = work / f"plant-{place}"
        journal = journal_of(sorted(work.glob(f"plant-{place}.*.journal")))
        stands = examine(folder)
        found.kills, found.plants = number(kills), place
        found.readings += sum(line["kind"] == "reading" for line in journal)
        found.others += sum(line["kind"] != "reading" for line in journal)
        found.lost = max(found.lost, int(gone)) + len(lost(stands, journal))
        found.double = max(found.double, int(twice)) + len(doubled(stands))
        found.broken += bool(stands.wrong)
        found.entries += len(stands.ids)
    return found


def cuts_of(printed: str) -> list[Cuts]:
    """Return what was found of cuts, as it was printed last for each way of syncing."""
    found = {}
    for level, cuts, losing, corrupt in CUT.findall(printed):
        found[level] = Cuts(level, cuts=number(cuts), losing=int(losing), corrupt=int(corrupt))
    return list(found.values())


def main() -> int:
    """Tell it."""
    ask = argparse.ArgumentParser(prog="python -m tests.crash.told", description=__doc__)
    ask.add_argument("log", type=Path)
    ask.add_argument("--work", type=Path, required=True)
    ask.add_argument("--seed", type=int, required=True)
    ask.add_argument("--commit", required=True)
    ask.add_argument("--write", type=Path)
    asked = ask.parse_args()
    printed = asked.log.read_text("utf-8")
    text = told(asked.seed, kills_of(printed, asked.work), cuts_of(printed), commit=asked.commit)
    print(text)
    if asked.write:
        write(asked.write, text, keep=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
