"""The page Plant: the check's findings and the plant file word for word."""

import re
from datetime import UTC, datetime
from html import unescape
from pathlib import Path

from tests.web.conftest import Client, client_of

from weirhouse.desk.flow import setting_flow
from weirhouse.plant import check, load
from weirhouse.records.store import Store
from weirhouse.situation.at import at
from weirhouse.web.plant import rows


def cells(html: str) -> list[list[str]]:
    table = html.split('class="stack findings"')[1].split("</table>")[0]
    found = re.findall(r"<tr>(.*?)</tr>", table.partition("<tbody>")[2], re.DOTALL)
    return [
        [unescape(re.sub("<[^>]*>", "", c)).strip() for c in re.findall(r"<t[dh].*?</t[dh]>", row)] for row in found
    ]


def test_every_figure_of_the_check_stands_on_the_page_with_its_range_and_source(
    client: Client, demo_folder: Path
) -> None:
    plant = load(demo_folder)
    with Store.open(demo_folder, read_only=True) as store:
        last = store.span()[1]
        assert last is not None
        now = at(store, plant, last)
    found = check(
        plant, flow=setting_flow(now), temperature=now.value("raw_temperature").usable,
        on=last.astimezone(plant.zone).date(),
    )  # fmt: skip
    held = [f for f in found if f.kind in ("inside", "outside")]
    shown = cells(client.get("/plant").text)
    assert len(shown) == len(held) > 20
    said = {(row[1], row[2], row[3], row[5]) for row in shown}
    words = {"inside": "within", "outside": "outside"}
    assert said == {(f.title, f.shown, words[f.kind], f.source) for f in held}
    assert [row[3] for row in shown] == sorted((row[3] for row in shown), key=["outside", "within"].index)


def test_the_plant_file_stands_there_word_for_word(client: Client, demo_folder: Path) -> None:
    html = unescape(client.get("/plant").text)
    plant = load(demo_folder)
    for path, (_, _, text) in plant.entries.items():
        if path.startswith(("train.", "permit.", "sewer.")):
            assert text in html, path
    for channel in plant.channels.values():
        assert channel.name in html
    for row in rows(plant):
        assert f'id="stage-{row.id}"' in html


def test_what_is_missing_is_named(demo_copy: Path) -> None:
    file = demo_copy / "plant.toml"
    text = file.read_text(encoding="utf-8")
    client = client_of(demo_copy)
    assert "<h3>Missing</h3>" not in client.get("/plant").text
    file.write_text(text.replace('giardia_required = "3 log"\n', ""), encoding="utf-8")
    html = client.get("/plant").text
    missing = html.split("<h3>Missing</h3>")[1].split("</ul>")[0]
    assert "giardia" in missing.lower()


def test_without_a_flow_nothing_is_compared_at_it(client: Client) -> None:
    before = datetime(2025, 10, 1, 12, tzinfo=UTC).isoformat()  # before the records begin
    answer = client.get("/plant", params={"at": before})
    assert answer.status_code == 200
    assert "There is no flow to go by" in answer.text
