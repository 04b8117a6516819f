"""The commands in the documentation do what the documentation says.

A block marked ``console`` is run: lines that begin with ``$ `` are commands, what follows each is its whole output, and
``...`` stands for anything. A page runs in a copy of the folder of its own name, where there is one.
"""

import doctest
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGES = [
    page
    for page in (ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md")))
    if "```console" in page.read_text("utf-8")
]


def blocks(text: str) -> list[tuple[str, str]]:
    """Return the commands of a page in order, each with the output it promises."""
    found: list[tuple[str, str]] = []
    for block in re.findall(r"^```console\n(.*?)^```", text, re.DOTALL | re.MULTILINE):
        assert block.startswith("$ "), f"a block begins with a command: {block[:60]}"
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = part.partition("\n")
            while command.endswith("\\"):
                more, _, output = output.partition("\n")
                command = command[:-1] + more.strip()
            found.append((command, output))
    return found


@pytest.mark.parametrize("page", PAGES, ids=[str(p.relative_to(ROOT)) for p in PAGES])
def test_the_commands_of_the_page_print_what_it_says(page: Path, tmp_path: Path):
    folder = tmp_path / "here"
    beside = page.with_suffix("")
    if beside.is_dir():
        shutil.copytree(beside, folder)
    else:
        folder.mkdir()
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    environment = {**os.environ, "PATH": path, "COLUMNS": "110", "LC_ALL": "C.UTF-8", "NO_COLOR": "1"}
    checker = doctest.OutputChecker()
    for command, promised in blocks(page.read_text("utf-8")):
        done = subprocess.run(
            ["bash", "-c", command],
            cwd=folder,
            env=environment,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        printed = "".join(line.rstrip() + "\n" for line in (done.stdout + done.stderr).splitlines())
        same = checker.check_output(promised, printed, doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
        assert same, f"$ {command}\n--- the page says\n{promised}\n--- it prints\n{printed}"


def test_a_promise_that_is_not_kept_is_seen(tmp_path: Path):
    """The check above can fail."""
    found = blocks("```console\n$ echo one\ntwo\n```\n")
    assert found == [("echo one", "two\n")]
    assert not doctest.OutputChecker().check_output("two\n", "one\n", doctest.ELLIPSIS)
