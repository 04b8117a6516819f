"""Is every promise on the page about security held by a test that is there?"""

import re
from pathlib import Path

ROOT = Path(__file__).parents[3]
PAGE = (ROOT / "docs" / "security.md").read_text("utf-8")


def test_every_promise_names_tests_that_are_there() -> None:
    rows = re.findall(r"^\| (S-\d+) \| [^|]+ \| ([^|]+) \|$", PAGE, re.MULTILINE)
    assert [number for number, _ in rows] == [f"S-{n}" for n in range(1, 18)]
    missing = []
    for number, held in rows:
        named = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", held)
        assert named or number == "S-15", number
        missing += [
            f"{number}: {file}::{test}"
            for file, test in named
            if not re.search(rf"^def {test}\(", (ROOT / file).read_text("utf-8"), re.MULTILINE)
        ]
    assert missing == []
