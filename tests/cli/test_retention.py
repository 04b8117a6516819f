"""`weirhouse retention` lists what was kept long enough and says that nothing is removed."""

import json

import pytest

from weirhouse.cli.main import main


def said(capsys, *arguments):
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert not left.value.code
    return capsys.readouterr().out


def test_the_table_and_what_is_past_it_are_listed(demo_folder, capsys):
    today = said(capsys, "retention", "--plant", str(demo_folder), "--on", "2026-10-15")
    assert " 12 years from the analysis: lead and copper: the original records [40 CFR 141.91" in today
    assert "On 2026-10-15 none of the kinds of records here has some" in today
    told = json.loads(said(capsys, "retention", "--plant", str(demo_folder), "--on", "2040-01-01", "--json"))
    assert {row["id"] for row in told["keep"]} >= {"chemical", "public_notice"}
    assert {row["keep"] for row in told["past"]} <= {row["id"] for row in told["keep"]}
    assert all(row["count"] > 0 and row["last"] < "2040" for row in told["past"])
    assert any(row["kind"] == "series" for row in told["past"])
