"""Can the plant's computer be set up without a compiler? Few libraries, each explained, each with a built wheel."""

import re
import tomllib
from collections import defaultdict
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
MOST = 20
PYTHONS = ("311", "312", "313")
PLATFORMS = {
    "Windows x64": "win_amd64", "Linux x64": r"manylinux\w*_x86_64", "Linux arm64": r"manylinux\w*_aarch64",
    "macOS": r"macosx_\w*(?:arm64|universal2)",
}  # fmt: skip
NONE_BUILT = {("pysqlite3", "Linux arm64")}  # there it is built from source, which docs/dependencies.md says


def names() -> list[str]:
    return [re.split(r"[\[<>=]", one)[0] for one in PROJECT["dependencies"]]


def locked() -> dict[str, list[dict[str, Any]]]:
    """Return what is installed with the program, by name; one library may be locked in a version for each Python."""
    found: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for package in tomllib.loads((ROOT / "uv.lock").read_text("utf-8"))["package"]:
        found[package["name"]].append(package)
    wanted, todo = set(), ["weirhouse"]
    while todo:
        name = todo.pop()
        if name not in wanted:
            wanted.add(name)
            needs = [more for one in found[name] for more in one.get("dependencies", [])]
            for more in needs:
                extras = [found[more["name"]][0]["optional-dependencies"][extra] for extra in more.get("extra", [])]
                todo += [more["name"], *(one["name"] for some in extras for one in some)]
    return {name: found[name] for name in wanted - {"weirhouse"}}


def lacking(packages: list[dict[str, Any]]) -> set[str]:
    """Return the platforms for which a library has no built wheel, for any Python that the program runs on."""
    wheels = [wheel["url"].rsplit("/", 1)[-1] for one in packages for wheel in one.get("wheels", [])]
    return {
        place
        for place, tag in PLATFORMS.items()
        for python in PYTHONS
        if not any(
            "-none-any" in wheel
            or (re.search(tag, wheel) and re.search(rf"-cp{python}-cp{python}-|-abi3-|-py3-none-", wheel))
            for wheel in wheels
        )
    }  # fmt: skip


def test_there_are_few_and_each_is_explained() -> None:
    assert 10 < len(names()) <= MOST
    page = (ROOT / "docs" / "dependencies.md").read_text("utf-8")
    assert [name for name in names() if f"| {name} |" not in page] == []


def test_each_comes_as_a_wheel() -> None:
    packages = locked()
    assert {*names(), "psycopg-binary"} <= set(packages)
    assert {(name, place) for name, some in packages.items() for place in lacking(some)} == NONE_BUILT
    assert all("sha256:" in wheel["hash"] for some in packages.values() for one in some for wheel in one["wheels"])


def test_a_library_without_a_wheel_would_be_told() -> None:
    only = [{"wheels": [{"url": "https://host/x-1-cp311-cp311-win_amd64.whl"}]}]
    assert lacking(only) == set(PLATFORMS)
    assert lacking([{"wheels": [{"url": "https://host/x-1-py3-none-any.whl"}]}]) == set()
