"""What is no number never becomes one, and texts of any length and any sign come back as they were typed (C-6)."""

import math
from dataclasses import replace

import pytest
from tests.records.sample import NOW, event, every_minute, put, reading
from tests.records.test_samples import result, sample

from weirhouse.quantity import QuantityError, parse
from weirhouse.records.model import RecordsError
from weirhouse.records.store import Store

LONG = "9" * 10_000
NO_NUMBERS = ("NaN", "nan", "inf", "Infinity", "-Infinity", "1e400", "-1e400", "0,12", "１２", "٣", "²", "½", "1_000",
              "0x10", "--5", "1e", "1.2.3", "", " ", "=1+1", "7.4\x00", LONG, "1" + "0" * 400)  # fmt: skip
TEXTS = (LONG, "é" * 10_000, "a\x00b", "\x1b[31m", "<script>", "'; DROP TABLE entry; --", "%s ? $1", "\u202e", "😀\n\t",
         "=cmd()", "\\u0000")  # fmt: skip


@pytest.fixture
def store(home):
    with Store.open(home, create=True) as opened:
        yield opened


@pytest.mark.parametrize("text", NO_NUMBERS)
def test_what_is_no_plain_number_is_refused_in_a_short_sentence(text):
    with pytest.raises(QuantityError) as told:
        parse(f"{text} NTU", "NTU", "Raw turbidity")
    assert len(str(told.value)) < 300


def test_a_comma_parts_thousands_and_nothing_else():
    assert parse("1,234 NTU", "NTU", "x") == 1234
    for text in ("1,23 NTU", "12,34 NTU", "1,2345 NTU", ",5 NTU", "1,234,5 NTU"):
        with pytest.raises(QuantityError, match=r"comma|not a number"):
            parse(text, "NTU", "x")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_no_way_into_the_records_takes_what_is_no_finite_number(store, value):
    one = sample()
    for add in (
        lambda: store.add_readings([reading(value)], entered_at=NOW),
        lambda: store.add_events([event(values={"volume": value})], entered_at=NOW),
        lambda: store.add_samples([one], results=[result(one, value)], entered_at=NOW),
        lambda: put(store, readings=(reading(value),)),
    ):
        with pytest.raises(RecordsError, match="no finite number"):
            add()
    if math.isinf(value):
        wrong = every_minute(3)
        wrong.values[1] = value
        with pytest.raises(RecordsError, match="is infinite"):
            put(store, wrong)
    assert (store.readings(), store.events(), store.samples(), store.results(), store.imports()) == ([],) * 5


@pytest.mark.parametrize("value", [0.0, -0.0, 5e-324, 1.7976931348623157e308, 0.1, 1 / 3, 123456789.123456789])
def test_every_finite_number_comes_back_to_the_last_bit(store, value):
    store.add_readings([reading(value)], entered_at=NOW)
    (found,) = store.readings()
    assert math.copysign(1, found.value) == math.copysign(1, value)
    assert found.value.hex() == float(value).hex()
    assert store.values("raw_turbidity").values[0] == value
    assert store.verify() == []


@pytest.mark.parametrize("text", TEXTS, ids=range(len(TEXTS)))
def test_a_text_of_any_length_and_any_sign_comes_back_as_it_was_typed(store, text):
    said = reading(5.0, text=text, note=text, person=f"R. Hale {text}", device=text)
    note = event("note", values={"by": text}, note=text, subject=text)
    store.add_readings([said], entered_at=NOW)
    store.add_events([note], entered_at=NOW)
    put(store, every_minute(3), name=f"{text}.csv", detail={"heading": text})
    assert store.readings() == [said]
    assert store.events() == store.events(subject=text) == [note]
    assert store.imports()[0].detail == {"heading": text}
    assert store.verify() == []


@pytest.mark.parametrize("name", [LONG, "a\x00b", "a\nb"], ids=["long", "NUL", "line"])
def test_a_name_that_entries_cannot_be_found_by_is_refused(store, name):
    for add in (
        lambda: store.add_readings([reading(channel=name)], entered_at=NOW),
        lambda: store.add_readings([reading(id=name)], entered_at=NOW),
        lambda: store.add_events([event(name)], entered_at=NOW),
        lambda: store.add_samples([replace(sample(), point=name)], entered_at=NOW),
    ):
        with pytest.raises(RecordsError, match="cannot be a name in the records"):
            add()
    with pytest.raises(RecordsError):
        store.correct(name, None, person="M. Ode", reason="tried", entered_at=NOW)
    assert store.readings() == []
