"""Files written in every way that loggers and spreadsheets write them: read as they were meant, or refused.

Each file of the corpus says the same known readings in another way, worked out from a seed. What is planned from it may
only be those readings, at those instants, on that scale; never a date or a scale silently taken for another.
"""

import io
import itertools
import random
import time
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from tests.records.importing.plants import EASTERN, planned
from tests.records.sample import NOW, put, reading

from weirhouse.records.importing import FileProblem
from weirhouse.records.model import series as series_of
from weirhouse.records.store import Store

SEED, COUNT, MUTATIONS = 20261127, 260, 1500
DATES = {
    "ISO": "%Y-%m-%d %H:%M", "ISO with T": "%Y-%m-%dT%H:%M:%S", "with offset": "%Y-%m-%d %H:%M%z", "UTC": "Z",
    "month first": "%m/%d/%Y %H:%M", "month first, short year": "%m/%d/%y %H:%M", "12 hours": "%m/%d/%Y %I:%M %p",
    "day first, dots": "%d.%m.%Y %H:%M", "day first": "%d/%m/%Y %H:%M", "named month": "%d %b %Y %H:%M",
    "epoch seconds": "s", "epoch milliseconds": "ms", "two columns": "%m/%d/%Y|%H:%M:%S",
}  # fmt: skip
PARTED = {"comma": ",", "semicolon": ";", "tab": "\t"}
POINTS = ("point", "comma")
CODES = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le with mark", "latin-1")
ENDS = {"LF": "\n", "CRLF": "\r\n", "CR": "\r"}
ODD = (
    "plain", "trailing delimiter", "quoted", "blank lines", "preamble", "not a number", "dashes", "over", "below",
    "too large", "same row twice", "out of order", "thousands", "clock reset", "cut in a stamp", "no last line end",
    "zeros behind", "short row", "long row", "spaces", "quoted line break",
)  # fmt: skip
DAYS = {
    "clear": datetime(2024, 6, 25, 10, 0, tzinfo=EASTERN),  # 25 is no month
    "either": datetime(2024, 6, 5, 10, 0, tzinfo=EASTERN),  # 5 June or 6 May
    "New Year": datetime(2024, 12, 31, 22, 30, tzinfo=EASTERN),
    "spring": datetime(2024, 3, 10, 0, 30, tzinfo=EASTERN),  # 02:00 to 03:00 is not there
    "autumn": datetime(2024, 11, 3, 0, 30, tzinfo=EASTERN),  # 01:00 to 02:00 comes twice
}


def cases():
    """Return so many different ways, each part of each in some of them."""
    pick = random.Random(SEED)
    every = list(itertools.product(DATES, PARTED, POINTS, CODES, ENDS, ODD, DAYS))
    every = [one for one in every if not (one[1] == "comma" and one[2] == "comma")]
    return [next(one for one in every if one[place] == part) for place, part in _parts()] + pick.sample(every, COUNT)


def _parts():
    for place, some in enumerate((DATES, PARTED, POINTS, CODES, ENDS, ODD, DAYS)):
        for part in some:
            yield place, part


def truth(day):
    """Return the readings: UTC seconds and NTU, every quarter of an hour of real time."""
    start = int(DAYS[day].timestamp())
    return [(start + 900 * n, value) for n, value in enumerate((4.25, 4.5, 12.75, 1234.5, 0.875, 3.125, 2.0, 6.5) * 2)]


def stamp(at, form):
    if form == "s":
        return str(at)
    if form == "ms":
        return str(at * 1000)
    if form == "Z":
        return f"{datetime.fromtimestamp(at, UTC):%Y-%m-%dT%H:%M:%SZ}"
    return datetime.fromtimestamp(at, EASTERN).strftime(form)


def number(value, point, thousands):
    text = f"{value:,.3f}" if thousands else f"{value:.3f}"
    return text.translate(str.maketrans(",.", ".,")) if point == "comma" else text


def written(dates, parted, point, code, end, odd, day):
    """Return the bytes of a file, and the readings that it tells of."""
    form, between = DATES[dates], PARTED[parted]
    rows = truth(day)
    told = dict(rows)
    quote = odd in ("quoted", "quoted line break", "thousands")
    lines = []
    for n, (at, value) in enumerate(rows):
        when = stamp(at, form).replace("|", between)
        text = number(value, point, odd == "thousands")
        if n == 3 and odd in ("not a number", "dashes", "over", "below", "too large"):
            text = {"not a number": "NaN", "dashes": "----", "over": "OVER", "below": f"<{number(0.02, point, False)}",
                    "too large": "1e400"}[odd]  # fmt: skip
            told[at] = 0.02 if odd == "below" else None
        if n == 5 and odd == "clock reset":
            when = stamp(7200, form).replace("|", between)
            del told[at]
        cells = [f'"{text}"' if quote else text]
        if odd == "short row" and n == 4:
            cells = []
            del told[at]
        if odd == "long row" and n == 4:
            cells += ["", ""]
        if odd == "quoted line break":
            cells.append('"seen by' + ENDS[end] + 'R. Hale"')
        if odd == "spaces":
            cells = [f"  {cell} " for cell in cells]
        lines.append(between.join([when, *cells]) + (between if odd == "trailing delimiter" else ""))
    if odd == "same row twice":
        lines.insert(4, lines[3])
    if odd == "out of order":
        lines[2], lines[9] = lines[9], lines[2]
    if odd == "blank lines":
        lines.insert(3, "")
    head = ["date", "time"] if "|" in form else ["time"]
    heading = between.join([*head, "raw turbidity (NTU)", *(["remark"] if odd == "quoted line break" else [])])
    before = ["Logger 7", "Site: Sorrel Creek", ""] if odd == "preamble" else []
    text = ENDS[end].join([*before, heading, *lines]) + ("" if odd == "no last line end" else ENDS[end])
    if odd == "cut in a stamp":  # the file is still being written
        text += lines[0][:7]
    raw = b"\xff\xfe" + text.encode("utf-16-le") if code == "utf-16-le with mark" else text.encode(code)
    return raw + (b"\0" * 600 if odd == "zeros behind" and not code.startswith("utf-16") else b""), told


def what_is_wrong(done, told):
    """Return readings that were planned and that the file does not tell of."""
    wrong = []
    for one in done.series:
        for at, value in zip(one.times.tolist(), one.values.tolist(), strict=True):
            meant = told.get(at, "nothing at that time")
            there = not isinstance(meant, str)
            same = np.isnan(value) if meant is None else there and abs(value - float(meant)) <= 1e-9 * abs(float(meant))
            if not same:
                wrong.append((one.channel, at, value, meant))
    return wrong


@pytest.mark.parametrize("place", range(13))
def test_every_file_is_read_as_it_was_meant_or_refused_in_one_sentence(place):
    some = cases()
    assert len(some) >= 250
    accepted = 0
    for case in some[place::13]:
        raw, told = written(*case)
        began = time.process_time()
        try:
            done = planned(raw)
        except FileProblem as problem:
            assert str(problem).isprintable() and len(str(problem)) < 700, case
            continue
        finally:
            assert time.process_time() - began < 10, case
        assert what_is_wrong(done, told) == [], case
        accepted += 1
    assert accepted > len(some[place::13]) / 3  # it is no test when everything is refused


@pytest.mark.parametrize("dates", [name for name in DATES if name != "day first"])
@pytest.mark.parametrize("parted", PARTED)
def test_a_plain_file_on_a_clear_day_is_read_whole(dates, parted):
    raw, told = written(dates, parted, "point", "utf-8", "LF", "plain", "clear")
    (one,) = planned(raw).series
    assert dict(zip(one.times.tolist(), one.values.tolist(), strict=True)) == told


def test_a_shifted_hour_and_a_wrong_scale_would_be_seen():
    raw, told = written("ISO", "comma", "point", "utf-8", "LF", "plain", "clear")
    assert what_is_wrong(planned(raw), told) == []
    assert len(what_is_wrong(planned(raw, zone=ZoneInfo("UTC")), told)) == len(told)
    assert len(what_is_wrong(planned(raw.replace(b",4.250", b",42.50")), told)) == 2


@pytest.mark.parametrize("dates", ["day first", "month first"])
def test_where_a_date_can_be_read_both_ways_it_is_never_guessed_wrongly(dates):
    raw, told = written(dates, "comma", "point", "utf-8", "LF", "plain", "either")
    try:
        done = planned(raw)
    except FileProblem as problem:
        assert "day" in str(problem) and "month" in str(problem)
        return
    assert what_is_wrong(done, told) == []


def test_a_spoilt_file_is_read_or_refused_quickly_and_changes_the_records_whole_or_not_at_all(tmp_path):
    pick = random.Random(SEED)
    files = [written(*case)[0] for case in cases()[:40]]
    with Store.open(tmp_path, create=True) as store:
        store.add_readings([reading(1.0)], entered_at=NOW)
        for turn in range(MUTATIONS):
            raw = bytearray(pick.choice(files))
            for _ in range(pick.randint(1, 6)):
                at = pick.randrange(len(raw))
                match pick.randrange(4):
                    case 0:
                        raw[at] = pick.randrange(256)
                    case 1:
                        del raw[at : at + pick.randint(1, 40)]
                    case 2:
                        raw[at:at] = raw[at : at + pick.randint(1, 40)]
                    case _:
                        raw[at:at] = pick.choice([b"\0", b'"', b"\n", b",", b"1e400", b"\xff", b"9" * 30, b"<", b"NaN"])
                if not raw:
                    break
            began = time.process_time()
            try:
                done = planned(bytes(raw))
            except FileProblem as problem:
                assert str(problem).isprintable()
                continue
            finally:
                assert time.process_time() - began < 10
            if turn % 50 == 0 and done.series:
                some = [series_of(one.channel, one.times, one.values, one.flags) for one in done.series]
                before = len(store.imports())
                put(store, *some, name=f"{turn}.csv")
                assert len(store.imports()) in (before, before + 1)
        assert store.verify() == []
        assert store.imports()


def test_a_line_without_an_end_takes_neither_time_nor_memory():
    raw = io.BytesIO()
    raw.write(b"time,raw turbidity (NTU)\n2024-06-25 10:00,4.25\n")
    raw.write(b"9" * (50 << 20))
    began = time.process_time()
    with pytest.raises(FileProblem):
        planned(raw.getvalue())
    assert time.process_time() - began < 10
