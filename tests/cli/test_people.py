"""People at the plant's own computer: added, given a password, let in; nobody is locked out for good."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from weirhouse.cli.main import group
from weirhouse.records import signing
from weirhouse.records.access import Access
from weirhouse.records.store import Store

WORDS, OTHER = "creek under the bridge", "seven herons at dusk"
NOW = datetime(2026, 6, 1, tzinfo=UTC)


def run(folder: Path, *arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(group, ["people", *arguments, "--plant", str(folder)], input=typed)


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    folder = tmp_path / "plant"
    assert CliRunner().invoke(group, ["new", str(folder)]).exit_code == 0
    return folder


def add(folder: Path, name: str, *more: str) -> Result:
    return run(folder, "add", name, *more, typed=f"{WORDS}\n{WORDS}\n")


def comes_in(folder: Path, name: str, password: str) -> bool:
    try:
        signing.sign_in(lambda: Store.open(folder), Access(folder), name, password, address="127.0.0.1", now=NOW)
    except signing.SignInError:
        return False
    return True


def said(folder: Path) -> list[str]:
    with Store.open(folder, read_only=True) as store:
        assert store.verify() == []
        return sorted(str(event.values["what"]) for event in store.events("access"))


def test_the_first_account_is_an_operator_and_no_password_is_shown(plant: Path) -> None:
    assert "Nobody has an account yet" in run(plant, "list").stdout
    done = add(plant, "Anna Brook", "--certificate", "OP-1", "--class", "II", "--until", "2027-03-31")
    assert done.exit_code == 0 and WORDS not in done.output
    (row,) = json.loads(run(plant, "list", "--json").stdout)["people"]
    assert row == {
        "id": row["id"], "name": "Anna Brook", "role": "operator", "certificate": "OP-1", "class": "II",
        "until": "2027-03-31", "active": True, "password": True,
    }  # fmt: skip
    assert comes_in(plant, "Anna Brook", WORDS)
    assert said(plant) == ["account", "password set", "signed in"]  # each an entry of its own


@pytest.mark.parametrize(
    ("arguments", "typed", "says"),
    [
        (("add", "operator"), f"{WORDS}\n{WORDS}\n", "nobody's name"),
        (("add", "Anna Brook"), "short\nshort\n", "shorter than"),
        (("add", "Anna Brook", "--role", "inspector"), "", "first account is an operator"),
        (("password", "Nobody Here"), "", "Nobody here is named"),
        (("network", "on"), "", "Nobody has an account yet"),
    ],
)
def test_what_cannot_be_is_refused_and_leaves_nothing(
    plant: Path, arguments: tuple[str, ...], typed: str, says: str
) -> None:
    done = run(plant, *arguments, typed=typed)
    assert done.exit_code != 0
    assert says in done.output + str(done.exception)
    assert not Access(plant).any_account()
    with Store.open(plant, read_only=True) as store:
        assert store.events() == []


def test_a_forgotten_password_is_set_anew_at_the_computer(plant: Path) -> None:
    add(plant, "Anna Brook")
    access = Access(plant)
    for _ in range(4):
        assert not comes_in(plant, "Anna Brook", "wrong words here")
    done = run(plant, "password", "anna brook", typed=f"{OTHER}\n{OTHER}\n")
    assert done.exit_code == 0
    assert comes_in(plant, "Anna Brook", OTHER)  # at once: the tries before count no more
    assert not comes_in(plant, "Anna Brook", WORDS)
    assert access.path.exists()


def test_passwords_that_were_lost_with_their_file_are_set_anew(plant: Path) -> None:
    add(plant, "Anna Brook")
    Access(plant).path.unlink()
    assert "has no password" in run(plant, "list").stdout
    assert run(plant, "password", "Anna Brook", typed=f"{OTHER}\n{OTHER}\n").exit_code == 0
    assert comes_in(plant, "Anna Brook", OTHER)


def test_roles_change_and_whoever_leaves_is_signed_out(plant: Path) -> None:
    add(plant, "Anna Brook")
    add(plant, "R. Lief", "--role", "relief")
    people = {row["name"]: row for row in json.loads(run(plant, "list", "--json").stdout)["people"]}
    access, lief = Access(plant), people["R. Lief"]["id"]
    token = access.open_session(lief, NOW)
    assert run(plant, "change", "R. Lief", "--role", "manager").exit_code == 0
    assert access.session(token, NOW) is not None
    assert run(plant, "change", "R. Lief", "--inactive").exit_code == 0
    assert access.session(token, NOW) is None
    assert not comes_in(plant, "R. Lief", WORDS)
    refused = run(plant, "change", "Anna Brook", "--inactive")
    assert "the only one" in str(refused.exception)
    assert run(plant, "network", "on").exit_code == 0 and access.network()
    once = {"role changed", "sign-in failed", "network"}
    assert said(plant) == sorted(["account"] * 3 + ["password set"] * 2 + list(once))
