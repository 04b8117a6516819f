"""The day's readings in the grid: by JSON, by the plain form and by keyboard; kept or refused in words, never lost."""

import re
import shutil
import uuid
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from tests.desk.scene import NOW, Scene
from tests.web.accounts import signed_in
from tests.web.conftest import OURS, Client, client_of

from weirhouse.records.store import Store

DAY = "2026-06-17"  # NOW is 14:00 on the plant's clock
WHO = "N. Writer"


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("grid") / "plant"
    Scene(folder).quiet().build().close()
    return folder


@pytest.fixture
def own(quiet: Path, tmp_path: Path) -> tuple[Client, Path]:
    folder = shutil.copytree(quiet, tmp_path / "plant", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    return signed_in(client_of(folder, NOW), folder, WHO, now=NOW), folder


def cell(text: str, channel: str = "raw_ph", time: str = "13:00", **more: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "channel": channel, "time": time, "text": text, "sure": True, **more}


def send(client: Client, *cells: dict[str, Any], person: str = WHO, day: str = DAY) -> list[dict[str, str]]:
    answer = client.post(
        f"/log/{day}/readings.json", json={"person": person, "cells": list(cells)}, headers=OURS
    )  # fmt: skip
    assert answer.status_code == 200, answer.text
    return list(answer.json()["cells"])


def kept(folder: Path, channel: str = "raw_ph") -> list[str]:
    since = datetime(2026, 6, 17, 16, 50, tzinfo=UTC)
    with Store.open(folder, read_only=True) as store:
        return [one.text for one in store.readings(channel, since) if one.person == WHO]


def test_a_batch_is_kept_in_one_write_and_answered_cell_by_cell(own: tuple[Client, Path]) -> None:
    client, folder = own
    one, two, bad = cell("7.41"), cell("3.2", "raw_turbidity", "12:55"), cell("much", "raw_turbidity", "12:00")
    found = send(client, one, bad, two)
    assert [(c["id"], c["status"]) for c in found] == [
        (one["id"], "stored"), (bad["id"], "refused"), (two["id"], "stored"),
    ]  # fmt: skip
    assert found[2]["shown"] == "3.20 NTU"
    assert '"much" is not a number' in found[1]["sentence"]
    with Store.open(folder, read_only=True) as store:
        (reading,) = [r for r in store.readings("raw_ph") if r.id == one["id"]]
    assert (reading.value, reading.text, reading.person) == (7.41, "7.41", WHO)
    assert reading.taken_at == datetime(2026, 6, 17, 17, 0, tzinfo=UTC)


def test_sent_again_it_is_answered_alike_and_kept_once(own: tuple[Client, Path]) -> None:
    client, folder = own
    one = cell("7.41")
    assert send(client, one) == send(client, one)
    assert kept(folder) == ["7.41"]


def test_the_same_id_with_other_content_is_a_conflict_and_leaves_an_entry_while_the_first_stays(
    own: tuple[Client, Path],
) -> None:
    client, folder = own
    one, good = cell("7.41"), cell("3.2", "raw_turbidity", "12:55")
    send(client, one)
    answer = client.post(
        f"/log/{DAY}/readings.json", json={"person": WHO, "cells": [{**one, "text": "7.5"}, good]}, headers=OURS
    )  # fmt: skip
    assert answer.status_code == 409
    other, fine = answer.json()["cells"]
    assert other["status"] == "conflict" and "Nothing was stored" in other["sentence"]
    assert fine["status"] == "stored", "one that cannot be kept holds none of the others back"
    assert kept(folder) == ["7.41"]
    with Store.open(folder, read_only=True) as store:
        (told,) = [event for event in store.events("access") if event.subject == one["id"]]
        assert store.verify() == []
    assert (told.values["what"], told.person) == ("same id with other content", WHO)
    assert told.note == "raw_ph 13:00: 7.5" or told.note.endswith("13:00: 7.5")


# C-6: what is no plain number is refused in a sentence, or shown as it was understood before it is kept.
@pytest.mark.parametrize("text", ["NaN", "Infinity", "-inf", "1e400", "0,12", "１２", "12 h", "=1+1", "7" * 10_000,
                                  "7.4\x00", "²"])  # fmt: skip
def test_what_is_no_number_is_never_kept(own: tuple[Client, Path], text: str) -> None:
    client, folder = own
    for channel in ("raw_ph", "raw_turbidity"):
        (found,) = send(client, cell(text, channel))
        assert found["status"] == "refused", found
        assert found["sentence"].endswith(".") and len(found["sentence"]) < 300
        assert kept(folder, channel) == []


def test_a_comma_that_parts_thousands_is_echoed_before_it_is_kept(own: tuple[Client, Path]) -> None:
    client, folder = own
    typed = cell("1,234", "plant_flow", sure=False)
    (found,) = send(client, typed)
    assert found["status"] == "asked" and "1,234 gpm" in found["sentence"]
    assert kept(folder, "plant_flow") == []
    (found,) = send(client, {**typed, "sure": True})
    assert (found["status"], found["shown"]) == ("stored", "1,234 gpm")


def test_a_slipped_point_is_asked_about_once(own: tuple[Client, Path]) -> None:
    client, folder = own
    typed = cell("74", sure=False)
    (found,) = send(client, typed)
    assert found["status"] == "asked" and "above" in found["sentence"]
    assert kept(folder) == []


def test_a_figure_typed_anew_is_a_correction_and_an_emptied_one_a_withdrawal(own: tuple[Client, Path]) -> None:
    client, folder = own
    (first,) = send(client, cell("7.1"))
    (second,) = send(client, cell("7.4", entry=first["entry"]))
    assert kept(folder) == ["7.4"]
    (third,) = send(client, cell("", entry=second["entry"], reason="undone"))
    assert third["status"] == "withdrawn" and kept(folder) == []
    with Store.open(folder, read_only=True) as store:
        history = store.history(first["entry"])
    assert [(e.kind, e.reason, e.person) for e in history] == [
        ("reading", "", WHO), ("reading", "typed anew in the day grid", WHO), ("withdrawal", "undone", WHO),
    ]  # fmt: skip
    assert send(client, cell("", entry=second["entry"], reason="undone"))[0]["status"] == "withdrawn"


def test_no_entry_keeps_nothing(own: tuple[Client, Path]) -> None:
    client, folder = own
    (found,) = send(client, cell(""))
    assert found["status"] == "refused"
    (found,) = send(client, cell("7.4", time="23:00"))
    assert "lies ahead" in found["sentence"]
    assert kept(folder) == []


@pytest.mark.parametrize("sent", [[], {"cells": 3}, {"cells": [3]}, {"cells": [{"id": "x"}]}, {"cells": [{}] * 501}])
def test_what_is_no_batch_is_refused_in_a_sentence(own: tuple[Client, Path], sent: Any) -> None:
    client, _ = own
    answer = client.post(f"/log/{DAY}/readings.json", json=sent, headers=OURS)
    assert answer.status_code == 400
    assert answer.json()["error"].endswith(".")


def test_the_hour_that_comes_twice_is_asked_about(quiet: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(quiet, tmp_path / "plant", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    now = datetime(2026, 11, 1, 12, 0, tzinfo=UTC)
    client = signed_in(client_of(folder, now), folder, WHO, now=now)
    (found,) = send(client, cell("7.4", time="01:30"), day="2026-11-01")
    assert found["status"] == "refused"
    assert found["sentence"] == (
        "01:30 comes twice in that night. Choose 01:30 EDT (-04:00) or 01:30 EST (-05:00)."
    )  # fmt: skip
    both = send(
        client, cell("7.4", time="2026-11-01T01:30-04:00"), cell("7.5", time="2026-11-01T01:30-05:00"), day="2026-11-01"
    )
    assert [one["status"] for one in both] == ["stored", "stored"]
    page = unescape(client.get("/log/2026-11-01/grid").text)
    assert "01:30 EDT" in page and "01:30 EST" in page
    asked = unescape(client.get("/log/2026-11-01/grid?time=01:15").text)
    assert "01:15 comes twice in that night" in asked
    assert re.search(r"time=2026-11-01T01%3A15-05%3A00\">01:15 EST<", asked)
    skipped = unescape(client.get("/log/2026-03-08/grid?time=02:30").text)
    assert "the clock skips that hour" in skipped


def test_the_plain_form_keeps_what_it_can_and_shows_the_rest_again(own: tuple[Client, Path]) -> None:
    client, folder = own
    page = client.get(f"/log/{DAY}/grid?time=13:00").text
    at = int(datetime(2026, 6, 17, 17, 0, tzinfo=UTC).timestamp())
    assert f'name="c.{at}.raw_ph"' in page
    form = {"id": str(uuid.uuid4()), "person": WHO, f"c.{at}.raw_ph": "7.3", f"c.{at}.raw_alkalinity": "some"}
    answer = client.post(f"/log/{DAY}/grid", data=form, headers=OURS)
    assert answer.status_code == 422
    html = unescape(answer.text)
    assert "1 figure is kept" in html and 'value="some"' in html
    assert kept(folder) == ["7.3"]
    assert (
        client.post(f"/log/{DAY}/grid", data={**form, f"c.{at}.raw_alkalinity": "60"}, headers=OURS).status_code == 303
    )
    assert kept(folder) == ["7.3"] and kept(folder, "raw_alkalinity") == ["60"]
    again = client.get(f"/log/{DAY}/grid").text
    entry = re.search(rf'name="e.{at}.raw_ph" value="([^"]+)"', again)
    assert entry is not None
    form = {**form, f"c.{at}.raw_ph": "7.35", f"e.{at}.raw_ph": entry[1], f"w.{at}.raw_ph": "7.3", "id": "two"}
    form[f"c.{at}.raw_alkalinity"] = form[f"w.{at}.raw_alkalinity"] = "60"
    assert client.post(f"/log/{DAY}/grid", data=form, headers=OURS).status_code == 303
    assert kept(folder) == ["7.35"]


def test_columns_are_chosen_and_remembered(own: tuple[Client, Path]) -> None:
    client, _ = own
    answer = client.post(f"/log/{DAY}/columns", data={"column.raw_ph": "yes", "column.nothing": "yes"}, headers=OURS)
    assert answer.status_code == 303
    page = client.get(f"/log/{DAY}/grid").text
    assert re.findall(r'id="col-(\w+)"', page) == ["raw_ph"]
