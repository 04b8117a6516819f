"""Four processes that write at once are all served; with a plain BEGIN they are not, which shows that it is tried."""

import re
from pathlib import Path

from tests.records.contend import WRITERS, contend

from weirhouse.records.store import Store

EACH = 60
RECORDS = Path(__file__).parents[2] / "src" / "weirhouse"


def test_four_processes_lose_nothing_to_the_lock(home):
    Store.open(home, create=True).close()
    assert contend(home, EACH) == (WRITERS * EACH, 0)
    with Store.open(home, read_only=True) as store:
        assert len(store.readings()) == WRITERS * EACH
        assert store.verify() == []


def test_beginning_plainly_loses_some(tmp_path):
    Store.open(tmp_path, create=True).close()
    stored, failed = contend(tmp_path, EACH, plain=True)
    assert stored + failed == WRITERS * EACH
    assert failed > 0


def test_no_statement_of_ours_begins_a_write_plainly():
    """BEGIN alone stands where one reads only; every write takes the lock as it begins. (Triggers have a BEGIN too.)"""
    found = {}
    for path in RECORDS.rglob("*.py"):
        for begin in re.findall(r"""["'](BEGIN\b(?! SELECT RAISE| RAISE)[^"']*)["']""", path.read_text("utf-8")):
            found.setdefault(begin, set()).add(path.name)
    assert found.pop("BEGIN") <= {"engine.py", "upgrade.py"}  # a reader; a server's schema, whose lock follows
    assert set(found) == {
        "BEGIN IMMEDIATE",
        "BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE",  # and the lock of the schema
        "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY",
    }
    engine = (RECORDS / "records" / "engine.py").read_text("utf-8")
    assert engine.count('run("BEGIN")') == 1
    assert engine.index('if self.read_only:\n            run("PRAGMA query_only = ON")\n            run("BEGIN")') > 0
