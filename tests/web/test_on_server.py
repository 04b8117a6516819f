"""The pages of a plant whose records lie on a district's server: what is entered there is shown at once."""

import uuid
from pathlib import Path

import pytest
from tests.web.conftest import OURS, client_of

from weirhouse.records.moving import move
from weirhouse.records.store import Store


@pytest.fixture
def on_server(demo_copy: Path, district: str) -> Path:
    move(demo_copy, district, f"plant_{uuid.uuid4().hex[:12]}")
    for name in ("records.sqlite", "series.sqlite"):
        (demo_copy / name).unlink()
    return demo_copy


def test_what_is_entered_on_the_server_is_on_the_next_page(on_server: Path) -> None:
    client, day = client_of(on_server), "/log/2026-10-31"
    assert client.get("/").status_code == 200
    assert "Otter on the weir" not in client.get(day).text
    form = {"person": "A. Operator", "time": "2026-10-31T15:40", "id": "", "text": "Otter on the weir", "note": ""}
    assert client.post(f"{day}/note", data=form, headers=OURS).status_code == 303
    assert "Otter on the weir" in client.get(day).text
    before = client.get("/").text
    form = {**form, "channel": "settled_turbidity", "value": "0.71", "time": "2026-10-31T15:45", "text": ""}
    assert client.post(f"{day}/reading", data=form, headers=OURS).status_code == 303
    assert client.get("/").text != before
    with Store.open(on_server, read_only=True) as store:
        assert store.readings("settled_turbidity")[-1].value == 0.71
        assert store.verify() == []
