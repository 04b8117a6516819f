"""Files that are no table of readings: one sentence, and nothing of them is taken."""

import bz2
import gzip
import io
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.records.importing.plants import planned, values

from weirhouse.records.importing import FileProblem
from weirhouse.records.importing import source as sources

GOOD = b"time,raw turbidity (NTU)\n2024-06-05 10:00,4.25\n2024-06-05 10:15,4.5\n"


def archive() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("data.csv", GOOD)
    return out.getvalue()


LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY lol "lol"><!ENTITY lol1 "&lol;&lol;&lol;&lol;&lol;&lol;&lol;&lol;">'
    b'<!ENTITY lol2 "&lol1;&lol1;&lol1;&lol1;&lol1;&lol1;&lol1;&lol1;">]><lolz>&lol2;</lolz>'
)
OUTSIDE = b'<!DOCTYPE r [<!ENTITY x SYSTEM "file:///etc/passwd">]><timeSeriesResponse>&x;</timeSeriesResponse>'
BAD = {
    "empty": (b"", "is empty"),
    "blank": (b"\n \n\t\n", "is empty"),
    "only a mark": (b"\xef\xbb\xbf", "is empty"),
    "zeros": (b"\0" * 4000, "is empty"),
    "headings only": (b"time,raw turbidity (NTU)\n", "no rows of readings|no column of dates"),
    "torn gzip": (gzip.compress(GOOD * 50)[:-40], "ends early|damaged"),
    "damaged gzip": (gzip.compress(GOOD)[:12] + b"\xff" * 30, "damaged|ends early"),
    "gzip bomb": (gzip.compress(b"0" * (64 << 20)), "times its size"),
    "PDF": (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n", "is a PDF"),
    "spreadsheet": (archive(), "spreadsheet or zip"),
    "old spreadsheet": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 500, "old spreadsheet"),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "picture"),
    "bzip2": (bz2.compress(GOOD), "bzip2"),
    "database": (b"SQLite format 3\0" + b"\0" * 100, "database"),
    "binary": (bytes(range(1, 256)) * 8, "no columns|not text|no column of dates"),
    "binary with zeros": (bytes(range(256)) * 8, "not text"),
    "prose": (b"The pump was off.\nWe called the State.\n", "no columns|no column of dates"),
    "one column": (b"time\n2024-06-05 10:00\n2024-06-05 10:15\n", "no columns|one column|no column of values"),
    "no times": (b"a,raw turbidity (NTU)\n1,2\n3,4\n", "no column of dates or times"),
    "no channel": (b"time,moon phase\n2024-06-05 10:00,4\n", "no column is known as a channel"),
    "half of UTF-16": (GOOD.decode().encode("utf-16")[:41], "damaged or cut short"),
    "one endless line": (b"1,2," * 400_000, "longer than"),
    "very many columns": (b"time" + b",a" * 3000 + b"\n2024-06-05 10:00" + b",1" * 3000 + b"\n", "columns, more than"),
    "billion laughs": (LAUGHS, "document type or entities"),
    "outside entity": (OUTSIDE, "document type or entities"),
    "entities in UTF-16": (LAUGHS.decode().encode("utf-16"), "document type or entities"),
    "cut XML": (b"<timeSeriesResponse><timeSeries>", "not whole XML"),
    "other XML": (b"<note><to>you</to></note>", "not WaterML"),
    "web page": (b"<html><body>Sign in</body></html>", "web page"),
    "cut JSON": (b'{"value": {"timeSeries": [', "not whole JSON"),
    "other JSON": (b'{"a": 1}', "not WaterML"),
    "deep JSON": (b"[" * 200_000, "not whole JSON"),
    "deep XML": (b"<a>" * 100_000, "not whole XML|not WaterML"),
    "odd WaterML-JSON": (b'{"value": {"timeSeries": [7]}}', "not those of WaterML"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_refused_in_one_sentence_or_two(name: str) -> None:
    raw, expected = BAD[name]
    with pytest.raises(FileProblem, match=expected) as caught:
        planned(raw)
    message = str(caught.value)
    assert "\n" not in message and len(message) < 700
    assert message.isprintable()


def test_a_missing_file_a_folder_and_a_device_are_refused(tmp_path: Path) -> None:
    for path, why in ((tmp_path / "none.csv", "There is no file"), (tmp_path, "is a folder")):
        with pytest.raises(FileProblem, match=why):
            sources.read(path)


def test_a_file_beyond_the_limit_is_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "large.csv"
    path.write_bytes(GOOD)
    monkeypatch.setattr(sources, "MOST_BYTES", 20)
    with pytest.raises(FileProblem, match="larger than"):
        sources.read(path)


def test_packed_text_is_unpacked_even_in_several_members() -> None:
    half = len(GOOD) // 2
    done = planned(gzip.compress(GOOD[:half]) + gzip.compress(GOOD[half:]))
    assert values(done, "raw_turbidity") == [4.25, 4.5]


def test_space_reserved_by_a_logger_is_not_data() -> None:
    assert values(planned(GOOD + b"\0" * 5000), "raw_turbidity") == [4.25, 4.5]


def test_foreign_text_in_messages_is_cut_and_cleaned() -> None:
    heading = "\x1b[31m" + "long heading " * 40
    with pytest.raises(FileProblem) as caught:
        planned(f"time,{heading}\n2024-06-05 10:00,4\n")
    assert "\x1b" not in str(caught.value) and len(str(caught.value)) < 400


def test_headings_that_would_mislead_a_unit_reader_take_no_time() -> None:
    """A heading is foreign text: a power in it is not worked out."""
    done = planned("time,raw turbidity (NTU),x (9**9**9**9**9)\n2024-06-05 10:00,4,1\n")
    assert values(done, "raw_turbidity") == [4.0]


FORMATS = Path(__file__).parents[2] / "data" / "formats"
WHOLE = [
    *(path.read_bytes() for path in sorted(FORMATS.iterdir()) if path.suffix in (".csv", ".json", ".xml")),
    GOOD * 20,
    b"date,parameter,value,unit,qualifier\n" + b"2024-06-25 10:00,toc,2.5,mg/L,U\n" * 20,
    b"agency_cd\tsite_no\tdatetime\ttz_cd\t1_63680\t1_63680_cd\n5s\t15s\t20d\t6s\t14n\t10s\n"
    + b"".join(b"USGS\t01\t2024-03-10 0%d:15\tEST\t4.5\tP\n" % hour for hour in range(9)),
]
JUNK = [
    b"", b",", b";", b"\t", b"\n", b"\r", b'"', b"\0", b"\xff", b"-9999", b"1e400", b"0001-01-01", b"9999-12-31 23:59",
    b"9" * 25, b"<", b"&", b"#", b"]]>", b"2026-11-01 01:30", b"1/1/0000", b"24:00", b"A" * 300, b"{", b"null",
]  # fmt: skip


@settings(max_examples=50, deadline=None)
@given(
    st.sampled_from(WHOLE), st.lists(st.tuples(st.floats(0, 1), st.integers(0, 5), st.sampled_from(JUNK)), max_size=8)
)
def test_a_file_damaged_anywhere_is_read_or_refused(raw: bytes, damage: list[tuple[float, int, bytes]]) -> None:
    for share, length, junk in damage:
        at = int(share * len(raw))
        raw = raw[:at] + junk + raw[at + length :]
    try:
        done = planned(raw)
    except FileProblem as problem:
        assert "\n" not in str(problem) and str(problem).isprintable()
        return
    for one in done.series:
        assert (one.times[1:] > one.times[:-1]).all()
