"""A small real plant in which four people have an account, one of each role."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.desk.scene import Scene
from tests.web.accounts import WORDS, account, token_of
from tests.web.conftest import Client, client_of
from tests.web.security.places import PLANT_NOW

from weirhouse.records.roles import Role

NAMES = {
    Role.OPERATOR: "Anna Brook", Role.RELIEF: "R. Lief", Role.MANAGER: "M. Weir", Role.INSPECTOR: "I. Hale",
}  # fmt: skip
As = Callable[[Role | None], Client]


@pytest.fixture(scope="session")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A real plant in which nobody has an account: read it, never write to it."""
    folder = tmp_path_factory.mktemp("bare") / "plant"
    Scene(folder).quiet().build().close()
    return folder


@pytest.fixture
def bare_copy(bare: Path, tmp_path: Path) -> Path:
    return shutil.copytree(bare, tmp_path / "bare", ignore=shutil.ignore_patterns("*-wal", "*-shm"))


@pytest.fixture(scope="session")
def untouched(bare: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A real plant with an account of each role, as it was made: only copied from."""
    folder = tmp_path_factory.mktemp("untouched") / "plant"
    shutil.copytree(bare, folder, ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    for role, name in NAMES.items():
        account(folder, name, role, PLANT_NOW, WORDS if role is Role.OPERATOR else "")
    return folder


@pytest.fixture(scope="module")
def peopled(untouched: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same for the tests of one file together, who leave their sign-ins in it."""
    return _copied(untouched, tmp_path_factory.mktemp("peopled") / "plant")


@pytest.fixture
def own(untouched: Path, tmp_path: Path) -> Path:
    """The same for one test alone."""
    return _copied(untouched, tmp_path / "peopled")


def _copied(folder: Path, to: Path) -> Path:
    return shutil.copytree(folder, to, ignore=shutil.ignore_patterns("*-wal", "*-shm", "sent"))


def as_role(folder: Path, role: Role | None, client: Client | None = None) -> Client:
    """Return a client that is signed in anew in a role, or not at all."""
    client = client or client_of(folder, PLANT_NOW)
    client.cookies.clear()
    if role is not None:
        client.cookies.set("weirhouse", token_of(folder, account_of(folder, role), PLANT_NOW), domain="127.0.0.1")
    return client


def account_of(folder: Path, role: Role):  # type: ignore[no-untyped-def]
    from weirhouse.records import people
    from weirhouse.records.store import Store

    with Store.open(folder, read_only=True) as store:
        return people.named(people.read(store), NAMES[role])
