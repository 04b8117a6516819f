"""Entries of the log are put right, withdrawn and taken back in the open; a closed day takes only reasons."""

import re
import shutil
from datetime import timedelta
from html import unescape
from pathlib import Path

import pytest
from tests.desk.scene import NOW, Scene
from tests.web.accounts import signed_in
from tests.web.conftest import OURS, Client, client_of

from weirhouse.records.model import Event, Reading
from weirhouse.records.roles import Role
from weirhouse.records.store import Store

DAY = "2026-06-17"  # NOW is 14:00 on the plant's clock


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("entries") / "plant"
    scene = Scene(folder).quiet()
    scene.events = []
    scene.build().close()
    return folder


@pytest.fixture
def own(quiet: Path, tmp_path: Path) -> tuple[Client, Path]:
    folder = shutil.copytree(quiet, tmp_path / "plant", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    return signed_in(client_of(folder, NOW), folder, now=NOW), folder


def post(client: Client, path: str, **form: str) -> tuple[int, str]:
    answer = client.post(path, data=form, headers=OURS)
    return answer.status_code, answer.headers.get("location", "") or unescape(answer.text)


def note(client: Client, text: str, clock: str = "13:10", day: str = DAY, **more: str) -> str:
    status, where = post(client, f"/log/{day}/note", text=text, time=f"{day}T{clock}", id="", person="x", **more)
    assert status == 303, where
    return where.partition("#entry-")[2]


def reading(client: Client, text: str, clock: str = "13:20", channel: str = "raw_ph") -> str:
    status, where = post(
        client, f"/log/{DAY}/reading", channel=channel, value=text, time=f"{DAY}T{clock}", id="", sure="yes", person="x"
    )
    assert status == 303, where
    return where.partition("#entry-")[2]


def said(html: str) -> str:
    return " ".join(re.findall(r'role="alert"><p>(.*?)</p>', html, re.DOTALL))


def test_a_reading_put_right_stays_visible_struck(own: tuple[Client, Path]) -> None:
    client, folder = own
    old = reading(client, "7,4".replace(",", "."))
    form = client.get(f"/log/entry/{old}/correct").text
    assert 'name="value" value="7.4"' in form and f'value="{DAY}T13:20"' in form
    status, html = post(client, f"/log/entry/{old}/correct", value="7.5", time=f"{DAY}T13:20", reason=" ", flag="")
    assert status == 422 and said(html).startswith("The reason is empty")
    assert 'name="value" value="7.5"' in html  # what was typed is still there
    status, where = post(
        client, f"/log/entry/{old}/correct", value="7.5", time=f"{DAY}T13:20", reason="read the wrong line", flag=""
    )
    assert status == 303
    new = where.partition("#entry-")[2]
    page = unescape(client.get(f"/log/{DAY}").text)
    struck = page[page.index(f'id="entry-{old}"') :]
    assert "<s>7.4</s>" in struck and "by A. Operator: read the wrong line" in struck[:900]
    assert f'id="entry-{new}"' in page
    history = unescape(client.get(f"/log/entry/{old}").text)
    assert "read the wrong line" in history and "read the wrong line" in client.get(f"/log/entry/{new}").text
    for words in ("As typed</dt><dd>7.4<", "As typed</dt><dd>7.5<", "Read at</dt><dd>2026-06-17 13:20 EDT",
                  "<strong>entered</strong> by A. Operator, 2026-06-17 14:00", "<strong>corrected<"):  # fmt: skip
        assert words in history
    with Store.open(folder, read_only=True) as store:
        (now,) = [r for r in store.readings("raw_ph", NOW - timedelta(minutes=45)) if r.id == new]
    assert (now.value, now.person) == (7.5, "A. Operator")


def test_a_reading_leads_from_its_channel_to_its_history(own: tuple[Client, Path]) -> None:
    client, _ = own
    id = reading(client, "7.4")
    assert f'href="/log/entry/{id}"' in client.get("/history/raw_ph").text


def test_nothing_changed_is_no_correction(own: tuple[Client, Path]) -> None:
    client, _ = own
    old = reading(client, "7.4")
    status, html = post(
        client, f"/log/entry/{old}/correct", value="7.4", time=f"{DAY}T13:20", reason="because", flag="", note=""
    )
    assert status == 422 and "Nothing was changed" in said(html)


def test_a_note_is_withdrawn_with_a_reason_and_stays_struck(own: tuple[Client, Path]) -> None:
    client, folder = own
    id = note(client, "Heard thunder")
    status, html = post(client, f"/log/entry/{id}/withdraw", reason="")
    assert status == 422 and "The reason is empty" in said(html)
    assert post(client, f"/log/entry/{id}/withdraw", reason="it was the pump")[0] == 303
    page = unescape(client.get(f"/log/{DAY}").text)
    assert "<s>Heard thunder</s>" in page and "withdrawn 2026-06-17 14:00 by A. Operator: it was the pump" in page
    assert "It was withdrawn and counts no more." in client.get(f"/log/entry/{id}").text
    assert post(client, f"/log/entry/{id}/withdraw", reason="again")[0] == 422
    assert client.get(f"/log/entry/{id}/correct").status_code == 404
    with Store.open(folder, read_only=True) as store:
        assert store.events("note") == []
        assert [e.kind for e in store.history(id)] == ["event", "withdrawal"]


def test_a_changed_dose_takes_its_reading_along(own: tuple[Client, Path]) -> None:
    client, folder = own
    status, where = post(
        client, f"/log/{DAY}/dose_change", subject="coagulant", to="18", time=f"{DAY}T13:30", id="", note="", until="",
        person="x", sure="yes", **{"from": ""},
    )  # fmt: skip
    assert status == 303
    id = where.partition("#entry-")[2]
    assert post(client, f"/log/entry/{id}/correct", to="17 mg/L", time=f"{DAY}T13:30", reason="misread", note="",
                **{"from": ""})[0] == 303  # fmt: skip
    with Store.open(folder, read_only=True) as store:
        (event,) = store.events("dose_change")
        dose = [r for r in store.readings("coagulant_dose") if r.note == "changed to this"]
    assert event.values == {"to": 17.0}
    assert [r.value for r in dose] == [17.0]
    assert post(client, f"/log/entry/{event.id}/withdraw", reason="never set")[0] == 303
    with Store.open(folder, read_only=True) as store:
        assert store.events("dose_change") == []
        assert [r for r in store.readings("coagulant_dose") if r.note == "changed to this"] == []


def undo_form(client: Client) -> dict[str, str]:
    html = client.get(f"/log/{DAY}").text
    found = re.search(r'action="/log/undo"><input type="hidden" name="entry" value="([^"]+)"', html)
    return {"entry": found[1]} if found else {}


def test_ones_own_last_entry_is_taken_back_and_then_the_one_before(own: tuple[Client, Path]) -> None:
    client, folder = own
    first, second = note(client, "First"), reading(client, "7.4")
    assert undo_form(client) == {"entry": second}
    assert post(client, "/log/undo", entry=first)[0] == 409  # not the last one
    assert post(client, "/log/undo", entry=second)[0] == 303
    assert undo_form(client) == {"entry": first}
    with Store.open(folder, read_only=True) as store:
        last = store.history(second)[-1]
    assert (last.kind, last.reason) == ("withdrawal", "undone")
    old = reading(client, "7.1", "13:30")
    assert post(client, f"/log/entry/{old}/correct", value="7.9", time=f"{DAY}T13:30", reason="slip", flag="")[0] == 303
    assert post(client, "/log/undo", **undo_form(client))[0] == 303  # the correction is taken back, not the reading
    with Store.open(folder, read_only=True) as store:
        history = store.history(old)
    texts = [e.item.text for e in history if isinstance(e.item, Reading)]
    assert (texts, history[-1].reason) == (["7.1", "7.9", "7.1"], "undone")


def test_a_closed_day_takes_reasons_only(own: tuple[Client, Path]) -> None:
    client, folder = own
    before = "2026-06-16"
    id = note(client, "Sludge drawn", "10:00", before)
    preview = unescape(client.get(f"/log/{before}/close").text)
    assert "Close the day" in preview
    assert "cannot" not in preview
    assert "It can be closed tomorrow" in client.get(f"/log/{DAY}/close").text
    assert post(client, f"/log/{DAY}/close", person="x")[0] == 422
    assert post(client, f"/log/{before}/close", person="x", note="")[0] == 303
    assert post(client, f"/log/{before}/close", person="x", note="")[0] == 422  # once
    page = unescape(client.get(f"/log/{before}").text)
    assert "The day was closed by A. Operator on 2026-06-17 14:00." in page
    assert undo_form(client) == {}
    status, html = post(client, f"/log/{before}/note", text="Late", time=f"{before}T11:00", id="", person="x")
    assert status == 422 and "was closed by A. Operator" in said(html) and 'name="late"' in html
    assert ">Late</textarea>" in html
    late = note(client, "Late", "11:00", before, late="found on paper")
    assert "late entry" in client.get(f"/log/entry/{late}").text
    assert post(client, f"/log/entry/{id}/withdraw", reason="was the day before")[0] == 303
    sent = {"id": "3f2b0a52-6a62-4a50-8d30-0a6a1f4e2f11", "channel": "raw_ph", "time": "09:00", "text": "7.4"}
    batch = {"person": "x", "cells": [{**sent, "sure": True}]}
    (cell,) = client.post(f"/log/{before}/readings.json", json=batch, headers=OURS).json()["cells"]
    assert cell["status"] == "refused" and "late" in cell["sentence"]
    batch["cells"] = [{**sent, "sure": True, "reason": "found on paper"}]
    (cell,) = client.post(f"/log/{before}/readings.json", json=batch, headers=OURS).json()["cells"]
    assert cell["status"] == "stored"
    grid = client.get(f"/log/{before}/grid").text
    assert "The day was closed by" in grid and 'name="reason"' in grid
    change = {**sent, "id": "3f2b0a52-6a62-4a50-8d30-0a6a1f4e2f12", "text": "7.5", "entry": cell["entry"], "sure": True}
    for reason, status in (("", "refused"), ("misread", "stored")):
        batch["cells"] = [{**change, "reason": reason}]
        (cell,) = client.post(f"/log/{before}/readings.json", json=batch, headers=OURS).json()["cells"]
        assert cell["status"] == status, cell
    with Store.open(folder, read_only=True) as store:
        assert [one.subject for one in store.closings()] == [before]


def test_the_preview_lists_what_lacks_and_what_is_doubtful(quiet: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(quiet, tmp_path / "plant", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    noon = NOW - timedelta(hours=26)  # 12:00 on the plant's clock, the day before
    with Store.open(folder) as store:
        odd = Reading(channel="raw_ph", value=74, taken_at=noon, unit="pH", text="74", person="x")
        mark = Reading(
            channel="raw_turbidity", value=9, taken_at=noon, unit="NTU", text="9", person="x", flag="doubtful"
        )
        store.add_readings([odd, mark], entered_at=NOW)
        store.add_events([Event(kind="outage", started_at=noon, person="x")], entered_at=NOW)
        for one in store.readings("combined_turbidity", NOW - timedelta(hours=31), NOW - timedelta(hours=24)):
            store.correct(one.id, None, person="x", reason="meter was out", entered_at=NOW)
    client = signed_in(client_of(folder, NOW), folder, now=NOW)
    page = unescape(client.get("/log/2026-06-16/close").text)
    for words in ("74 at 12:00 is above 10.0, the end of its usual range.", "9 at 12:00 is marked doubtful.",
                  "Outage, from 12:00, has no end."):  # fmt: skip
        assert words in page, words
    assert re.search(r"Nothing is recorded of .* from 08:00 to 12:00, while the plant ran", page)


def test_search_by_kind_person_and_days(own: tuple[Client, Path]) -> None:
    client, _ = own
    note(client, "Valve 3 greased")
    note(client, "Valve 4 greased", "10:00", "2026-06-15")
    html = unescape(client.get("/log?q=greased").text)
    assert "2 lines hold" in html
    assert "1 line holds" in unescape(client.get("/log?q=greased&to=2026-06-15").text)
    assert "1 line holds" in unescape(client.get("/log?q=greased&from=2026-06-17").text)
    assert "0 lines hold" in unescape(client.get("/log?q=greased&kind=reading").text)
    assert "2 lines hold" in unescape(client.get("/log?q=greased&kind=note&person=A.+Operator").text)
    assert client.get("/log?q=x&from=yesterday").status_code == 400


def test_metacharacters_print_literally(own: tuple[Client, Path]) -> None:
    client, _ = own
    text = "<b>#set page</b> =1+1 & $x$ \"'"
    id = note(client, text)
    for path in (f"/log/{DAY}", f"/log/entry/{id}", f"/log/entry/{id}/correct", "/log?q=%23set"):
        html = client.get(path).text
        assert "<b>#set" not in html and text in unescape(html), path


def test_an_instrument_check_is_entered_in_the_unit_of_its_channel(own: tuple[Client, Path]) -> None:
    client, folder = own
    form = {"subject": "combined_turbidity", "standard": "secondary standard", "standard_value": "0.5", "found": "0.52",
            "left": "", "time": f"{DAY}T13:00", "id": "", "note": "", "until": "", "person": "x"}  # fmt: skip
    status, html = post(client, f"/log/{DAY}/instrument_check", **form, result="")
    assert status == 422 and "Result must be one of: passed, failed." in said(html)
    assert post(client, f"/log/{DAY}/instrument_check", **form, result="passed")[0] == 303
    with Store.open(folder, read_only=True) as store:
        (event,) = store.events("instrument_check")
    assert event.values == {
        "standard": "secondary standard", "standard_value": 0.5, "found": 0.52, "result": "passed"
    }  # fmt: skip
    page = unescape(client.get(f"/log/{DAY}").text)
    assert "found 0.520 NTU, result passed, standard secondary standard, standard value 0.500 NTU" in page


def test_whoever_may_only_look_is_offered_no_form(quiet: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(quiet, tmp_path / "plant", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    writer = signed_in(client_of(folder, NOW), folder, now=NOW)
    id, before = reading(writer, "7.4"), "2026-06-16"
    looker = signed_in(client_of(folder, NOW), folder, "I. Hale", Role.INSPECTOR, NOW)
    for path in (f"/log/entry/{id}", f"/log/{before}/close", f"/log/{DAY}/grid", f"/log/{DAY}", "/imports", "/samples"):
        for client, offered in ((writer, True), (looker, False)):
            answer = client.get(path)
            assert answer.status_code == 200
            forms = re.findall(r'<form[^>]*method="post" action="(/(?:log|imports|samples)/[^"]*)"', answer.text)
            sends = [one for one in forms if not one.endswith(("/columns", "/grid"))]
            assert bool(sends) == (offered and "/grid" not in path), (path, sends)
    page = looker.get(f"/log/{DAY}/grid").text
    assert "readonly" in page and "data-grid-send" not in page and "data-grid=" not in page
