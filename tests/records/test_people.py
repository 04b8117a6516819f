"""Who works here, what is kept of a password, how often may one try? Without the pages."""

import threading
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from weirhouse.records import access_log, passwords, people, signing
from weirhouse.records.access import IDLE, LONGEST, Access, WaitError
from weirhouse.records.closing import closing
from weirhouse.records.model import ClosedError, Event
from weirhouse.records.people import PeopleError, Person
from weirhouse.records.roles import MANAGE, READ, WRITE, Role
from weirhouse.records.store import Store

NOW = datetime(2026, 6, 1, 2, 0, tzinfo=UTC)
WORDS = "creek under the bridge"


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    with Store.open(tmp_path, create=True):
        pass
    return tmp_path


def add(folder: Path, name: str, role: Role = Role.OPERATOR, **more: object) -> Person:
    with Store.open(folder) as store:
        return people.add(store, Person(id="", name=name, role=role, **more), by="R. Quill", now=NOW)  # type: ignore[arg-type]


def everybody(folder: Path) -> dict[str, Person]:
    with Store.open(folder, read_only=True) as store:
        return people.read(store)


def test_a_person_is_kept_with_certificate_and_each_change_stays_in_the_history(plant: Path) -> None:
    anna = add(plant, " Anna  Brook ", certificate="OP-1", certificate_class="II", certificate_until=date(2027, 3, 1))
    assert everybody(plant) == {anna.id: anna}
    assert anna.name == "Anna Brook"
    add(plant, "M. Weir", Role.MANAGER)
    with Store.open(plant) as store:
        later = people.change(
            store, anna, replace(anna, role=Role.RELIEF), by="M. Weir", now=NOW, reason="Relief from June"
        )
        history = store.history(later.entry)
        assert store.verify() == []
    assert everybody(plant)[anna.id].role is Role.RELIEF
    assert [entry.person for entry in history] == ["R. Quill", "M. Weir"]
    assert history[1].reason == "Relief from June"


@pytest.mark.parametrize("name", ["", "  ", "12", "operator", " Admin ", "RELIEF", "x" * 61, "a\x07b"])
def test_what_is_nobodys_name_is_refused(plant: Path, name: str) -> None:
    with pytest.raises(PeopleError) as told:
        add(plant, name)
    assert told.value.field == "name"
    assert everybody(plant) == {}


@pytest.mark.parametrize("again", ["Anna Brook", "anna brook", "ANNA  BROOK", "\uff21nna Brook"])
def test_a_name_is_given_once(plant: Path, again: str) -> None:
    add(plant, "Anna Brook")
    with pytest.raises(PeopleError, match="has an account already"):
        add(plant, again)


def test_two_who_add_the_same_name_at_once_keep_one(plant: Path) -> None:
    told: list[str] = []
    gate = threading.Barrier(2)

    def one(certificate: str) -> None:
        gate.wait()
        try:
            add(plant, "Anna Brook", certificate=certificate)
        except PeopleError as error:
            told.append(str(error))

    both = [threading.Thread(target=one, args=(text,)) for text in ("1", "2")]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join()
    assert len(told) == 1 and len(everybody(plant)) == 1


def test_the_first_account_is_made_once(plant: Path) -> None:
    with Store.open(plant) as store:
        people.add(store, Person(id="", name="Anna Brook", role=Role.OPERATOR), by="Anna Brook", now=NOW, first=True)
        with pytest.raises(PeopleError, match="before you"):
            people.add(store, Person(id="", name="M. Weir", role=Role.MANAGER), by="M. Weir", now=NOW, first=True)


@pytest.mark.parametrize("change", [{"role": Role.RELIEF}, {"active": False}])
def test_the_only_one_who_may_add_people_stays(plant: Path, change: dict[str, object]) -> None:
    anna = add(plant, "Anna Brook")
    add(plant, "R. Lief", Role.RELIEF)
    with Store.open(plant) as store, pytest.raises(PeopleError, match="the only one"):
        people.change(store, anna, replace(anna, **change), by="x", now=NOW, reason="x")  # type: ignore[arg-type]
    assert everybody(plant)[anna.id] == anna
    assert anna.may(MANAGE) and not replace(anna, active=False).may(READ)


# --- passwords


def test_a_password_is_kept_as_argon2id_with_its_own_salt() -> None:
    one, two = passwords.hashed(WORDS), passwords.hashed(WORDS)
    assert one != two and WORDS not in one
    assert one.startswith("$argon2id$v=19$m=65536,")  # 64 MiB: RFC 9106, 4, second recommended option
    assert passwords.matches(one, WORDS) and not passwords.matches(one, WORDS + "s")
    assert not passwords.matches(None, WORDS) and not passwords.matches("no hash", WORDS)
    assert not passwords.matches(one, "x" * 100_000)


@pytest.mark.parametrize(
    "weak", ["short", "aaaaaaaaaaaaaa", "abababababab", "12345678901", "qwertyuiopas", "abcdefghijkl", "Anna Brook12",
             "password1234"]
)  # fmt: skip
def test_what_is_guessed_at_once_is_refused(weak: str) -> None:
    with pytest.raises(passwords.PasswordError):
        passwords.require_strong(weak, "Anna Brook", "Emberly")


@pytest.mark.parametrize("good", [WORDS, "zażółć gęślą jaźń", "a" * 5 + "creekbed 17 oaks", "Emberly has two filters"])
def test_a_few_words_are_enough(good: str) -> None:
    passwords.require_strong(good, "Anna Brook", "Emberly")


def test_no_more_than_two_hashes_are_worked_out_at_once_and_few_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    now, most, busy = 0, 0, 0
    lock = threading.Lock()
    go_on = threading.Event()

    class Slow:
        def hash(self, password: str) -> str:
            nonlocal now, most
            with lock:
                now += 1
                most = max(most, now)
            go_on.wait(5)
            with lock:
                now -= 1
            return password

    monkeypatch.setattr(passwords, "hasher", lambda: Slow())

    def one() -> None:
        nonlocal busy
        try:
            passwords.hashed(WORDS)
        except passwords.BusyError:
            with lock:
                busy += 1

    threads = [threading.Thread(target=one) for _ in range(40)]
    for thread in threads:
        thread.start()
    until = time.monotonic() + 10
    while not busy and time.monotonic() < until:
        time.sleep(0.01)
    go_on.set()
    for thread in threads:
        thread.join()
    assert most == passwords.AT_ONCE
    assert 1 <= busy <= 40 - passwords.AT_ONCE - passwords.WAITING


# --- tries and sessions


def ready(folder: Path, name: str = "Anna Brook", role: Role = Role.OPERATOR) -> tuple[Access, Person]:
    access, person = Access(folder), add(folder, name, role)
    access.set_password(person.id, passwords.hashed(WORDS), NOW)
    return access, person


def test_the_file_is_there_with_the_first_account_and_its_owner_alone_reads_it(plant: Path) -> None:
    access = Access(plant)
    assert not access.any_account() and access.session("x", NOW) is None and not access.network()
    assert not access.path.exists()
    ready(plant)
    assert access.any_account()
    assert access.path.stat().st_mode & 0o077 == 0


def guess(folder: Path, access: Access, name: str, password: str, now: datetime, address: str = "10.0.0.9") -> bool:
    signing.sign_in(lambda: Store.open(folder), access, name, password, address=address, now=now)
    return True


def test_a_thousand_guesses(plant: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """S-9: at most 10 in any minute, ever slower, and the operator comes in at the plant's computer meanwhile."""
    access, _ = ready(plant)
    monkeypatch.setattr(passwords, "matches", lambda kept, password: password == WORDS and kept is not None)
    looked_at: list[float] = []
    second = 0.0
    for _ in range(1000):
        now = NOW + timedelta(seconds=second)
        with pytest.raises((signing.SignInError, WaitError)) as told:
            guess(plant, access, "Anna Brook", "guess", now)
        if isinstance(told.value, signing.SignInError):
            looked_at.append(second)
        second += 0.5
    assert len(looked_at) < 20  # of 1,000 in 500 s
    assert all(b - a > 60 for a, b in zip(looked_at, looked_at[10:], strict=False))
    waits = [b - a for a, b in pairwise(looked_at[3:])]
    assert waits == sorted(waits) and waits[-1] >= 60
    later = NOW + timedelta(seconds=second)
    assert guess(plant, access, "anna brook", WORDS, later, "127.0.0.1")  # nobody elsewhere can keep her out
    with pytest.raises(WaitError) as told:
        guess(plant, access, "Anna Brook", WORDS, later)
    assert 0 < told.value.seconds <= 60
    assert guess(plant, access, "Anna Brook", WORDS, later + timedelta(seconds=61))  # and never for good
    with Store.open(plant, read_only=True) as store:
        said = [event.values["what"] for event in store.events(access_log.KIND)]
    assert said.count("sign-in failed") == len(looked_at) and said.count("signed in") == 2


def test_guesses_from_many_addresses_count_together_and_leave_the_computer_itself_alone(plant: Path) -> None:
    access, anna = ready(plant)
    taken = 0
    for n in range(60):
        try:
            access.begin_try(anna.id, f"10.0.0.{n}", NOW + timedelta(milliseconds=n), here=False)
            taken += 1
        except WaitError:
            pass
    assert taken == 10
    access.begin_try(anna.id, "127.0.0.1", NOW + timedelta(seconds=1), here=True)


def test_names_that_nobody_has_make_an_address_wait_too(plant: Path) -> None:
    access, _ = ready(plant)
    taken = 0
    for n in range(60):
        try:
            access.begin_try("", "10.0.0.9", NOW + timedelta(milliseconds=n), here=False)
            taken += 1
        except WaitError:
            pass
    assert taken <= 10


def test_a_clock_set_back_keeps_nobody_out(plant: Path) -> None:
    access, anna = ready(plant)
    for n in range(4):
        access.begin_try(anna.id, "127.0.0.1", NOW + timedelta(seconds=n), here=True)
    with pytest.raises(WaitError):
        access.begin_try(anna.id, "127.0.0.1", NOW + timedelta(seconds=4), here=True)
    access.begin_try(anna.id, "127.0.0.1", NOW - timedelta(days=1), here=True)


def test_the_failures_are_told_once_to_whom_they_concern(plant: Path) -> None:
    access, _ = ready(plant)
    for n in range(3):
        with pytest.raises(signing.SignInError):
            guess(plant, access, "Anna Brook", "wrong words", NOW + timedelta(seconds=n))
    later = NOW + timedelta(minutes=5)
    token = signing.sign_in(
        lambda: Store.open(plant), access, "Anna Brook", WORDS, address="127.0.0.1", now=later
    )  # fmt: skip
    found = access.session(token, later)
    assert found is not None and found.failed == 3
    access.told(token)
    again = signing.sign_in(lambda: Store.open(plant), access, "Anna Brook", WORDS, address="127.0.0.1", now=later)
    for one in (token, again):
        session = access.session(one, later)
        assert session is not None and session.failed == 0


def test_a_session_ends_when_nobody_uses_it_and_after_its_longest(plant: Path) -> None:
    access, anna = ready(plant)
    token = access.open_session(anna.id, NOW)
    assert access.session(token + "x", NOW) is None and access.session("", NOW) is None
    assert access.session(token, NOW + IDLE) is not None  # used then: counts from there
    assert access.session(token, NOW + 2 * IDLE) is not None
    assert access.session(token, NOW + 3 * IDLE + timedelta(minutes=6)) is None
    other, at = access.open_session(anna.id, NOW), NOW
    while at < NOW + LONGEST:
        assert access.session(other, at) is not None
        at += IDLE / 2
    assert access.session(other, NOW + LONGEST + timedelta(seconds=1)) is None


def test_a_page_that_asks_by_itself_does_not_keep_a_session(plant: Path) -> None:
    access, anna = ready(plant)
    token = access.open_session(anna.id, NOW)
    for hour in range(1, 13):
        assert access.session(token, NOW + timedelta(hours=hour), used=False) is not None
    assert access.session(token, NOW + IDLE + timedelta(minutes=1), used=False) is None


def test_a_new_password_ends_every_session_and_the_old_one(plant: Path) -> None:
    access, anna = ready(plant)
    token = access.open_session(anna.id, NOW)
    new = "seven herons at dusk"
    signing.set_password(lambda: Store.open(plant), access, anna, new, by=anna.name, now=NOW)
    assert access.session(token, NOW) is None
    with pytest.raises(signing.SignInError):
        guess(plant, access, "Anna Brook", WORDS, NOW)
    assert guess(plant, access, "Anna Brook", new, NOW)


def test_whoever_is_no_longer_active_does_not_come_in(plant: Path) -> None:
    access, anna = ready(plant)
    add(plant, "M. Weir", Role.MANAGER)
    with Store.open(plant) as store:
        people.change(store, anna, replace(anna, active=False), by="M. Weir", now=NOW, reason="left")
    with pytest.raises(signing.SignInError):
        guess(plant, access, "Anna Brook", WORDS, NOW)
    assert not everybody(plant)[anna.id].may(WRITE)


def test_nothing_in_the_files_is_a_secret(plant: Path) -> None:
    """S-17: no password, token, or mistyped name, in any file of the plant, nor in a log beside it."""
    access, _ = ready(plant)
    tokens = [
        signing.sign_in(lambda: Store.open(plant), access, "Anna Brook", WORDS, address="127.0.0.1", now=NOW)
        for _ in range(2)
    ]
    mistyped = "oops my pass phrase"
    with pytest.raises(signing.SignInError):
        guess(plant, access, mistyped, "wrong words here", NOW)
    secrets = [WORDS, mistyped, "wrong words here", *tokens]
    files = [file for file in plant.rglob("*") if file.is_file()]
    assert {"access.sqlite", "records.sqlite"} <= {file.name for file in files}
    for file in files:
        held = file.read_bytes()
        assert not [secret for secret in secrets if secret.encode() in held], file.name


def test_people_come_and_go_while_a_day_is_closed(plant: Path) -> None:
    """Who came in is no record of the water: a closed day takes it, and the chain stays whole."""
    access, anna = ready(plant)
    add(plant, "M. Weir", Role.MANAGER)
    day = NOW - timedelta(days=1)
    with Store.open(plant) as store:
        store.add_events([closing(f"{day:%Y-%m-%d}", "UTC", person="Anna Brook", at=NOW)], entered_at=NOW)
        note = Event(kind="note", started_at=day, person="Anna Brook", note="late")
        with pytest.raises(ClosedError):
            store.add_events([note], entered_at=NOW)
        people.change(store, anna, replace(anna, role=Role.RELIEF), by="M. Weir", now=day, reason="clock was set back")
    assert guess(plant, access, "Anna Brook", WORDS, day)
    with Store.open(plant, read_only=True) as store:
        assert store.verify() == []
        assert [event.values["what"] for event in store.events(access_log.KIND)] == ["signed in"]
