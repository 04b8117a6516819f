"""How are the figures of a run written down? By the run itself, between two marks in the page that tells of them."""

import os
import platform
import re
import subprocess
from datetime import UTC, datetime
from pathlib import Path

from pysqlite3 import dbapi2 as driver
from tests.crash.cuts import Cuts
from tests.crash.kills import Kills

BEGIN, END = "<!-- figures of the last run: written by make crash -->", "<!-- end of the figures -->"
KILLED = re.compile(r"\| ([\d,]+) kills \| ([\d,]+) readings [^|]*\| (\d+) \| (\d+) \|")
TOGETHER = re.compile(r"^Together: .*\n", re.MULTILINE)
ROOT = Path(__file__).parents[2]


def told(seed: int, kills: Kills, cuts: list[Cuts]) -> str:
    """Return the figures as a page tells them."""
    lines = [
        f"Run of {datetime.now(UTC):%Y-%m-%d} on commit {_commit()}, seed {seed}: "
        f"Python {platform.python_version()}, "
        f"SQLite {driver.sqlite_version}, {platform.system()} {platform.machine()}, {os.cpu_count()} cores.",
        "",
        "| what was done | how often | acknowledged | lost | double | damaged |",
        "|---|---|---|---|---|---|",
    ]
    if kills.kills:
        lines.append(
            f"| the server killed (kill -9) while four clients wrote, {kills.plants} plants | {kills.kills:,} kills | "
            f"{kills.readings:,} readings and {kills.others:,} other entries | {kills.lost} | {kills.double} | "
            f"{kills.broken} |"
        )
    for one in cuts:
        what = f"the power cut, simulated; every commit synced ({one.synchronous})"
        if one.synchronous != "FULL":
            what = f"control: the same with synchronous = {one.synchronous}, which must lose"
        stretches = f" in {one.stretches} stretches of writing" if one.stretches else ""
        acknowledged = f"{one.acknowledged:,} entries" if one.stretches else "not counted"
        most = f" (at most {one.lost})" if one.losing else ""
        lines.append(
            f"| {what} | {one.cuts:,} cuts{stretches} | {acknowledged} | after {one.losing:,} cuts{most} | – | "
            f"{one.corrupt:,} |"
        )
    lines.append("")
    if kills.examined:
        ready = sorted(kills.ready_s)
        lines.append(
            f"After each kill the pages of the database, the whole chain and every line of the clients' journals were "
            f"looked through ({kills.examined:,} times). {kills.sent_again:,} entries were sent again because their "
            f"answer was cut off. From start to saying its address it took {ready[len(ready) // 2]:.2f} s (median) and "
            f"at most {ready[-1]:.2f} s. The kills took {kills.seconds / 60:.0f} min."
        )
    for one in cuts:
        if one.synchronous == "FULL" and one.operations:
            lines.append(
                f"The {one.cuts:,} cuts fell into {one.operations:,} writes, syncs and names of files; after "
                f"{one.by_program:,} of them the program itself opened what was left, verified it and wrote to it. "
                f"They took {one.seconds / 60:.0f} min."
            )
    return "\n".join(lines).rstrip()


def write(page: Path, text: str, *, keep: bool = False) -> None:
    """Put the figures between the marks of a page, in the place of those that stand there or after them."""
    whole = page.read_text("utf-8")
    before, _, rest = whole.partition(BEGIN)
    earlier, _, after = rest.partition(END)
    earlier = TOGETHER.sub("", earlier).strip()
    kept = f"{earlier}\n\n" if keep and earlier else ""
    page.write_text(f"{before}{BEGIN}\n\n{kept}{text}\n\n{together(kept + text)}{END}{after}", "utf-8")


def together(text: str) -> str:
    """Return the sum over the runs that a text tells of; nothing for one.

    >>> row = "| the server killed | 1,000 kills | 160,000 readings and 5 other entries | 0 | 0 | 0 |"
    >>> together(f"{row}\\n{row}")
    'Together: 2,000 kills, 320,000 readings acknowledged, 0 lost, 0 double.\\n\\n'
    """
    rows = [[int(part.replace(",", "")) for part in found] for found in KILLED.findall(text)]
    if len(rows) < 2:
        return ""
    kills, readings, lost, double = (sum(row[place] for row in rows) for place in range(4))
    return f"Together: {kills:,} kills, {readings:,} readings acknowledged, {lost} lost, {double} double.\n\n"


def _commit() -> str:
    said = subprocess.run(
        ["git", "rev-parse", "--short=10", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    changed = subprocess.run(
        ["git", "status", "--porcelain", "--untracked-files=no"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    return (said.stdout.strip() or "unknown") + (" with changes" if changed.stdout.strip() else "")
