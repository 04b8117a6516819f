"""Samples and results are entries like the rest, and what was not detected never becomes a number."""

import hashlib
import json
from dataclasses import replace
from datetime import timedelta

import pytest
from tests.records.sample import NOW, inside, minutes, put, reading, without_triggers

from weirhouse.records.model import Handover, RecordsError, Result, Sample
from weirhouse.records.samples import analysed_by, held, held_too_long, lacking
from weirhouse.records.store import Store


@pytest.fixture
def store(home):
    with Store.open(home, create=True) as opened:
        yield opened


def sample(at=0, **more):
    said = {
        "point": "tap_at_school", "purpose": "routine", "sampler": "R. Hale", "laboratory": "Emberly County Laboratory",
        "laboratory_id": "EX-017", "bottle": "250 mL amber glass", "preservation": "H3PO4 to pH < 2, on ice",
        "custody": (
            Handover(person="J. Pruitt, courier", at=minutes(at + 60), condition="sealed, on ice"),
            Handover(person="Emberly County Laboratory", at=minutes(at + 180), condition="sealed, 277 K"),
        ),
        "person": "R. Hale", "note": "flushed 5 min",
    } | more  # fmt: skip
    return Sample(taken_at=minutes(at), **said)


def result(of, value=0.0021, **more):
    said = {
        "analyte": "toc", "unit": "mg/L", "text": "2.1", "method": "SM 5310 C", "analysed_at": minutes(3000),
        "analyst": "K. Wynn", "holding_limit": 28 * 86400.0, "person": "R. Hale",
    } | more  # fmt: skip
    return Result(sample=of.id, value=value, **said)


NOT_DETECTED = {"value": None, "text": "ND", "qualifier": "ND", "limit": 0.0003, "limit_kind": "detection"}


def test_samples_and_results_come_back_as_they_were_given(store):
    one, two = sample(0), sample(60, point="raw_tap", purpose="raw", custody=())
    first = result(one, lab_flags=("J", "B"), fraction="total", prepared_at=minutes(900))
    second = result(two, **NOT_DETECTED, lab_flags=("U",))
    third = result(two, None, analyte="total_coliform", text="absent", unit="", qualifier="ND")
    over = result(two, None, analyte="e_coli", text=">2419.6", qualifier=">", limit=2419.6, limit_kind="range")
    assert store.add_samples([one], entered_at=NOW, results=[first]) == 2
    assert store.add_samples([two], entered_at=NOW) == 1
    assert store.add_results([second, third, over], entered_at=NOW) == 3
    assert store.add_results([second], entered_at=NOW + timedelta(days=1)) == 0  # sent again
    assert store.samples() == [one, two]
    assert store.samples("raw_tap") == store.samples(since=minutes(1)) == [two]
    assert store.results() == [first, second, third, over]
    assert store.results("toc") == [first, second]
    assert store.results(sample=one.id) == store.results(until=minutes(60)) == [first]
    assert store.results(since=minutes(60)) == [second, third, over]
    assert store.verify() == []


def test_what_was_not_detected_stays_a_condition_with_a_limit_through_entry_correction_and_import(store):
    one = sample()
    seen = result(one)
    store.add_samples([one], entered_at=NOW, results=[seen])
    store.correct(seen.id, replace(seen, **NOT_DETECTED), person="M. Ode", reason="report 2", entered_at=NOW)
    two = sample(60)
    imported = result(two, **NOT_DETECTED)
    put(store, name="laboratory.csv", samples=[two], results=[imported])
    for found in store.results():
        assert (found.value, found.qualifier, found.limit, found.limit_kind) == (None, "ND", 0.0003, "detection")
    with Store.open(store.folder, read_only=True) as again:
        assert [found.value for found in again.results()] == [None, None]


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"qualifier": "<"}, 'marked "<" and holds a value as well'),
        ({"qualifier": "ND"}, 'marked "ND" and holds a value as well'),
        ({"lab_flags": ("UJ",)}, 'marked "U" and holds a value as well'),
        ({"value": None, "qualifier": "<"}, "without a limit"),
        ({"limit": 0.1}, "needs both a number and its kind"),
        ({"limit_kind": "detection"}, "needs both a number and its kind"),
        ({"value": None, "qualifier": ">", "limit": 1.0, "limit_kind": "detection"}, 'kind "range"'),
        ({"limit": 1.0, "limit_kind": "range"}, 'kind "range"'),
        ({"lab_flags": ("X",)}, 'flag of the laboratory "X"'),
        ({"qualifier": "~"}, 'qualifier "~"'),
        ({"flag": "bad"}, 'flag "bad"'),
        ({"value": float("nan")}, "no finite number"),
        ({"limit": float("inf"), "limit_kind": "detection"}, "no finite number"),
        ({"analyte": " "}, "does not say of what"),
        ({"sample": ""}, "belongs to no sample"),
        ({"sample": "nowhere"}, 'No sample has the id "nowhere"'),
        ({"person": ""}, "Nobody"),
        ({"analysed_at": minutes(0).replace(tzinfo=None)}, "no time zone"),
    ],
)
def test_a_result_that_cannot_be_is_refused_with_its_whole_batch(store, more, told):
    one = sample()
    with pytest.raises(RecordsError, match=told):
        store.add_samples([one], entered_at=NOW, results=[result(one), replace(result(one), **more)])
    assert (store.samples(), store.results()) == ([], [])


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"point": " "}, "has no place"),
        ({"sampler": ""}, "Nobody is named who took"),
        ({"purpose": "fun"}, 'purpose "fun".*routine, check, raw, special'),
        ({"custody": (Handover(person="", at=minutes(60)),)}, "names nobody"),
        ({"custody": (Handover(person="J. Pruitt", at=minutes(-60)),)}, "lies before the step ahead of it"),
        ({"person": ""}, "Nobody"),
    ],
)
def test_a_sample_that_cannot_be_is_refused(store, more, told):
    with pytest.raises(RecordsError, match=told):
        store.add_samples([sample(**more)], entered_at=NOW)
    assert store.samples() == []


def test_a_corrected_sample_keeps_its_results_and_a_withdrawn_one_takes_them_along(store):
    one = sample()
    found = result(one)
    store.add_samples([one], entered_at=NOW, results=[found])
    said = {"person": "M. Ode", "reason": "wrong tap", "entered_at": NOW}
    new = store.correct(one.id, replace(one, point="tap_at_mill"), **said)
    assert [s.point for s in store.samples()] == ["tap_at_mill"]
    assert store.results(sample=one.id) == store.results(sample=new) == [replace(found, sample=new)]
    again = store.correct(found.id, replace(found, sample=new, value=0.002, text="2.0"), **said)
    assert [r.text for r in store.results()] == ["2.0"]
    assert [entry.item.text for entry in store.history(again)] == ["2.1", "2.0"]
    assert [entry.item.point for entry in store.history(new)] == ["tap_at_school", "tap_at_mill"]
    store.correct(new, None, **said)
    assert store.results() == store.samples() == []
    assert store.verify() == []


def test_a_result_takes_the_place_of_a_result_only(store):
    one = sample()
    store.add_samples([one], entered_at=NOW, results=[result(one)])
    with pytest.raises(RecordsError, match="is a sample; a reading cannot take its place"):
        store.correct(one.id, reading(), person="M. Ode", reason="none", entered_at=NOW)


def test_an_import_of_samples_and_results_is_stored_once_and_withdrawn_whole(store):
    def file():
        one, two = sample(), sample(60)  # ids are made anew each time the file is read
        return {"samples": [one, two], "results": [result(one), result(two, **NOT_DETECTED)]}

    id = put(store, name="laboratory.csv", **file())
    assert put(store, name="laboratory.csv", **file()) == id
    assert (len(store.samples()), len(store.results())) == (2, 2)
    (told,) = store.imports()
    assert (told.samples, told.results, told.readings, told.stored) == (2, 2, 0, 4)
    assert (told.first, told.last, told.channels) == (minutes(0), minutes(60), ("toc",))
    store.withdraw_import(id, person="M. Ode", reason="other plant's report", entered_at=NOW)
    assert store.samples() == store.results() == []
    assert store.verify() == []


def test_the_new_kinds_are_sealed_like_the_rest_and_verify_names_one_that_was_altered(store):
    one = sample()
    store.add_readings([reading()], entered_at=NOW)
    store.add_samples([one], entered_at=NOW, results=[result(one, **NOT_DETECTED)])
    with inside(store.folder, "records.sqlite") as raw:
        (pair,) = raw.execute("SELECT pair FROM origin").fetchone()
        before = hashlib.sha256(f"weirhouse ledger of {pair}".encode()).digest()
        for body, seal in raw.execute("SELECT body, hash FROM entry ORDER BY sequence").fetchall():
            before = hashlib.sha256(before + body.encode()).digest()
            assert seal == before
            assert json.dumps(json.loads(body), sort_keys=True, separators=(",", ":"), ensure_ascii=False) == body
        without_triggers(raw)
        raw.execute("UPDATE entry SET body = replace(body, '\"ND\"', '\"\"') WHERE kind = 'result'")
    assert "entry 3 (result toc" in store.verify()[0]


def test_what_the_tabular_summary_asks_for_and_lacks_is_named():
    one = sample()
    full = result(one)
    assert lacking(one, full) == ()
    assert lacking(replace(one, laboratory=""), replace(full, analyst="", method="", analysed_at=None)) == (
        "the date of the analysis", "the laboratory", "the person who analysed it", "the method",
    )  # fmt: skip
    assert analysed_by(one, replace(full, laboratory="State Laboratory")) == "State Laboratory"


def test_the_holding_time_runs_from_the_tap_to_the_preparation_or_the_analysis():
    one = sample()
    short = result(one, holding_limit=30 * 3600.0)  # total coliform: 30 h, 40 CFR 141.852(a), from memory
    assert held(one, short) == timedelta(hours=50)
    assert held_too_long(one, short) is True
    assert held_too_long(one, replace(short, prepared_at=minutes(60 * 29))) is False
    assert held_too_long(one, replace(short, prepared_at=minutes(60 * 29), lab_flags=("H",))) is True
    assert held_too_long(one, replace(short, holding_limit=None)) is None
    assert held_too_long(one, replace(short, analysed_at=None)) is None
