"""The first page says how the backups stand; a page asked of damaged records says which backup helps."""

from datetime import timedelta

from tests.web.conftest import NOW, client_of

from weirhouse.plant import load
from weirhouse.records import backup_run


def test_the_first_page_says_when_the_last_backup_was_made_and_which_place_is_missing(demo_copy):
    with (demo_copy / "plant.toml").open("a", encoding="utf-8") as file:
        file.write(f'\n[[backup]]\nplace = "{demo_copy.parent}"\n[[backup]]\nplace = "{demo_copy.parent}/office"\n')
    client = client_of(demo_copy)
    assert "Last backup" not in client.get("/").text
    backup_run.run(demo_copy, load(demo_copy), whole=False, at=NOW - timedelta(minutes=12))
    for page in ("/", "/plant"):
        text = client.get(page).text
        assert "Last backup 12 min ago (Sat 2026-10-31 15:48), restored for a trial and verified." in text
        assert f"<strong>{demo_copy.parent}/office is not there. Mount it or make the folder, then run" in text
    client.now = NOW + timedelta(days=3)
    assert "<strong>Last backup 3 days ago" in client.get("/").text


def test_a_page_of_damaged_records_offers_the_backup_that_helps(demo_copy):
    (done,) = backup_run.run(demo_copy, load(demo_copy), whole=True, at=NOW)
    path = demo_copy / "records.sqlite"
    path.write_bytes(path.read_bytes()[:50_000])
    answer = client_of(demo_copy).get("/")
    assert answer.status_code == 503
    assert "is cut off" in answer.text and "The damaged file is kept as it is" in answer.text
    assert f"weirhouse restore {done.path} --to NEW_FOLDER" in answer.text
