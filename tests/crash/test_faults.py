"""The disk fails under the real server: nothing is acknowledged that is not stored, and every page says what to do."""

import http.client
import json
import uuid
from datetime import datetime

import pytest
from tests.crash import shim
from tests.crash.clients import yesterday
from tests.crash.examine import examine
from tests.crash.kills import ZONE, new_plant
from tests.crash.server import Server

pytestmark = pytest.mark.skipif(bool(shim.possible()), reason=shim.possible() or "-")
DAY = yesterday(datetime.now(ZONE).date())


class Desk:
    """One who writes, and looks at pages."""

    def __init__(self, server, cookie):
        self.port, self.cookie = server.port, cookie

    def ask(self, method, path, body=None, kind="application/json"):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            headers = {"Cookie": self.cookie, "Content-Type": kind, "Origin": f"http://127.0.0.1:{self.port}"}
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            return answer.status, answer.read().decode()
        finally:
            connection.close()

    def enter(self, id, value="3.1"):
        """Enter a reading and return whether it was acknowledged, and what was said."""
        cell = {"id": id, "channel": "raw_turbidity", "time": "07:00", "text": value, "sure": True}
        status, text = self.ask("POST", f"/log/{DAY}/readings.json", json.dumps({"person": "R. Hale", "cells": [cell]}))
        if status != 200:
            return False, json.loads(text)["error"]
        (said,) = json.loads(text)["cells"]
        return said["status"] == "stored", said["sentence"]


@pytest.fixture
def started(tmp_path):
    """A server whose disk can be made to fail, and whoever writes to it."""
    folder, fault = tmp_path / "plant", tmp_path / "fault"
    cookie = new_plant(folder)
    (folder / "backups.json").write_text(
        '{"records_at": "%s", "all_at": "%s"}' % (2 * (f"{datetime.now(ZONE).isoformat()}",))
    )
    server = Server(folder, environment=shim.environment(folder, fault=fault))
    yield folder, fault, Desk(server, cookie)
    server.stop()


@pytest.mark.parametrize("what", ["w", "s"], ids=["write", "sync"])
def test_after_an_error_of_the_disk_nothing_more_is_taken_until_a_new_start(started, what):
    folder, fault, desk = started
    good, bad, later = (str(uuid.uuid4()) for _ in range(3))
    assert desk.enter(good) == (True, "")
    fault.write_text(what)
    stored, sentence = desk.enter(bad)
    assert not stored and "The disk failed" in sentence
    fault.write_text("")  # the disk seems well again: nobody knows what it holds
    stored, sentence = desk.enter(later)
    assert not stored and sentence.startswith("The disk failed while something was stored, and nothing more is taken")
    assert "Write on paper" in sentence and "start it again" in sentence
    for page in ("/", f"/log/{DAY}", "/plant"):
        status, text = desk.ask("GET", page)
        assert status == 200 and 'role="alert"' in text and "nothing more is taken" in text
    found = examine(folder)
    assert found.wrong == []
    assert good in found.ids and later not in found.ids

    server = Server(folder)
    try:
        desk = Desk(server, desk.cookie)
        assert desk.enter(later) == (True, "")
        assert desk.enter(bad) == (True, "")  # sent again with its id, whether or not it was on the disk
        assert "nothing more is taken" not in desk.ask("GET", "/")[1]
    finally:
        server.stop()
    found = examine(folder)
    assert found.wrong == [] and {good, bad, later} <= set(found.ids)


def test_a_full_disk_takes_nothing_keeps_everything_and_goes_on_by_itself(started):
    folder, fault, desk = started
    kept = [str(uuid.uuid4()) for _ in range(3)]
    assert all(desk.enter(id)[0] for id in kept)
    fault.write_text("f")
    refused = str(uuid.uuid4())
    for _ in range(3):
        stored, sentence = desk.enter(refused)
        assert not stored
        assert "full" in sentence and "Free some space, then enter it again" in sentence
    status, text = desk.ask("GET", f"/log/{DAY}")
    assert status == 200 and "3.1" in text  # it can be read and printed
    fault.write_text("")
    assert desk.enter(refused) == (True, "")
    found = examine(folder)
    assert found.wrong == [] and {*kept, refused} <= set(found.ids)
