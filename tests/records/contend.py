"""Write into one plant's records from several processes at once, and count whom the lock turned away.

Run as a program it is one of the writers: folder, its name, how many, and "plain" to begin as one must not.
"""

import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

from tests.records.sample import NOW, reading

from weirhouse.records.engine import Database
from weirhouse.records.model import RecordsError
from weirhouse.records.store import Store

WRITERS = 4


def contend(folder: Path, each: int, *, plain: bool = False) -> tuple[int, int]:
    """Let four processes enter `each` readings one by one; return how many were stored, and how many turned away."""
    root = Path(__file__).parents[2]
    command = [sys.executable, "-m", "tests.records.contend", str(folder)]
    writers = [
        subprocess.Popen(
            [*command, f"w{n}", str(each), *(["plain"] if plain else [])], cwd=root, stdout=subprocess.PIPE, text=True
        )
        for n in range(WRITERS)
    ]
    told = [writer.communicate()[0].split() for writer in writers]
    return sum(int(stored) for stored, _ in told), sum(int(failed) for _, failed in told)


@contextmanager
def plainly(database: Database):
    """Begin without the right to write: it is asked for at the first change, when another may have it."""
    database.run("BEGIN")
    try:
        yield
        database.run("COMMIT")
    except BaseException:
        database.run("ROLLBACK")
        raise


def write(folder: Path, name: str, each: int) -> tuple[int, int]:
    stored = failed = 0
    with Store.open(folder) as store:
        for i in range(each):
            try:
                stored += store.add_readings([reading(float(i), i, channel=name, id=f"{name}-{i}")], entered_at=NOW)
            except RecordsError as fault:
                if "Another program is writing" not in str(fault):
                    raise
                failed += 1
    return stored, failed


if __name__ == "__main__":
    if sys.argv[4:] == ["plain"]:
        Database.writing = plainly  # type: ignore[method-assign]
    print(*write(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])))
