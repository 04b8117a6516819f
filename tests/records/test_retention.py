"""How long records are kept is data; what was kept that long is listed, and nothing is removed."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from tests.records.sample import NOW, event, every_minute, put, reading
from tests.records.test_samples import result, sample

from weirhouse.records.retention import keep_of, past, table
from weirhouse.records.store import Store

# Years that 40 CFR 141.33(a) to (e), 141.91 and 141.175 ask for, as the mirroring State rules print them.
ASKED = {
    "turbidity_and_microbiology": 5, "chemical": 10, "lead_and_copper": 12, "individual_filters": 3,
    "corrective_action": 3, "sanitary_survey": 10, "variance": 5, "public_notice": 3,
}  # fmt: skip


def test_the_table_asks_for_what_the_rules_ask_and_names_its_basis():
    assert {row.id: row.years for row in table()} == ASKED
    assert all(row.basis.startswith("40 CFR 141.") and row.source and row.matches for row in table())


@pytest.mark.parametrize(
    ("kind", "topic", "id"),
    [
        ("reading", "raw_turbidity", "turbidity_and_microbiology"),
        ("reading", "filter_1_turbidity", "turbidity_and_microbiology"),  # the longer of two
        ("series", "combined_turbidity", "turbidity_and_microbiology"),
        ("result", "total_coliform", "turbidity_and_microbiology"),
        ("result", "E. coli", "turbidity_and_microbiology"),
        ("reading", "chlorine_residual", "chemical"),
        ("result", "toc", "chemical"),
        ("result", "lead", "lead_and_copper"),
        ("sample", "tap_at_school", "lead_and_copper"),
        ("event", "notice", "public_notice"),
        ("event", "backwash", None),
    ],
)
def test_the_longest_row_that_matches_holds(kind, topic, id):
    found = keep_of(kind, topic)
    assert (found.id if found else None) == id


def test_what_was_kept_long_enough_is_listed_and_stays(home):
    old = datetime(2016, 2, 29, 12, tzinfo=UTC)
    one = sample()
    with Store.open(home, create=True) as store:
        store.add_readings([replace(reading(), taken_at=old), reading()], entered_at=NOW)
        store.add_readings([replace(reading(channel="toc"), taken_at=old)], entered_at=NOW)
        store.add_events([event()], entered_at=NOW)
        store.add_samples([one], entered_at=NOW, results=[result(one)])
        put(store, every_minute(90))
        assert [(p.kind, p.topic, p.count) for p in past(store, date(2021, 2, 27))] == []
        assert [(p.kind, p.topic, p.count, p.first) for p in past(store, date(2021, 3, 1))] == [
            ("reading", "raw_turbidity", 1, old)
        ]
        assert [(p.topic, p.keep.id) for p in past(store, date(2026, 3, 1))] == [
            ("raw_turbidity", "turbidity_and_microbiology"), ("toc", "chemical"),
        ]  # fmt: skip
        later = {(p.kind, p.topic): p.count for p in past(store, date(2044, 2, 29))}
        assert later == {
            ("reading", "raw_turbidity"): 2, ("reading", "toc"): 1, ("result", "toc"): 1,
            ("sample", "tap_at_school"): 1, ("series", "raw_turbidity"): 90,
        }  # fmt: skip
        assert len(store.readings()) == 3
        assert store.verify() == []
