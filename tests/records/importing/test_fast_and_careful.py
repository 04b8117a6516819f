"""The fast way through a table and the careful one give the same answer, and plain numbers that of float()."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.records.importing.plants import Channel, planned, same

from weirhouse.records.importing import fields, numbers
from weirhouse.records.importing.fields import Refusals

WIDTH = 4


@settings(max_examples=50, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.floats(allow_nan=False, allow_infinity=False, width=32).map(lambda v: f"{v:.6f}"),
            st.integers(-(10**19), 10**19).map(str),
            st.decimals(allow_nan=False, allow_infinity=False, places=4, min_value=-(10**9), max_value=10**9).map(str),
            st.sampled_from(["", "-", "+", ".", "1.", ".5", "-.5", "1.2.3", "12a", "+7", "00012", "-0", "1e5", "0.1"]),
        ),
        min_size=1,
        max_size=40,
    )
)
def test_plain_numbers_are_those_of_float(texts: list[str]) -> None:
    raw = [t.encode() for t in texts]
    ends = np.cumsum([len(t) for t in raw], dtype=np.int64)
    starts = ends - np.array([len(t) for t in raw], np.int64)
    values, odd = numbers.plain(np.frombuffer(b"".join(raw) + b"\n", np.uint8), starts, ends, ord("."))
    for text, value, strange in zip(texts, values.tolist(), odd.tolist(), strict=True):
        if strange or not text:
            assert math.isnan(value)
        else:
            assert value == float(text)
    for text, strange in zip(texts, odd.tolist(), strict=True):  # what is common is not left to the slow way
        if text and text.strip("0123456789.") == "" and text.count(".") < 2 and text != "." and len(text) < 16:
            assert not strange


cell = st.one_of(
    st.floats(0, 1e4, allow_nan=False).map(lambda v: f"{v:.3f}"),
    st.sampled_from(["", "NA", "<0.1", ">99", "-9999", "4.x", " 7 ", "1e3", '"8"', "Ice", "1 234", "0"]),
)


@st.composite
def tables(draw: st.DrawFn) -> list[list[str]]:
    n = draw(st.integers(1, 30))
    rows = []
    for k in range(n):
        row = [f"2024-06-05 {k // 60 + 8:02d}:{k % 60:02d}", *(draw(cell) for _ in range(WIDTH - 1))]
        if draw(st.integers(0, 9)) == 0:
            row = row[: draw(st.integers(1, WIDTH))] + [""] * draw(st.integers(0, 2))
        rows.append(row)
    return rows


@settings(max_examples=40, deadline=None)
@given(tables())
def test_both_ways_cut_the_same_cells(rows: list[list[str]]) -> None:
    data = ("\n".join(",".join(row) for row in rows) + "\n").encode()
    columns = np.arange(WIDTH)
    quick, slow = Refusals(), Refusals()
    fast = fields._in_bulk(data, 1, ",", WIDTH, columns, WIDTH, quick, 0)
    assert fast is not None
    careful = list(fields._with_care(data, 1, ",", WIDTH, columns, WIDTH, slow))
    assert sorted(quick.kept) == sorted(slow.kept)
    texts = [[fast.texts(c)[r] for c in range(WIDTH)] for r in range(len(fast.lines))]
    again = [[part.texts(c)[r] for c in range(WIDTH)] for part in careful for r in range(len(part.lines))]
    assert texts == again
    assert fast.lines.tolist() == [int(line) for part in careful for line in part.lines]


@settings(max_examples=25, deadline=None)
@given(tables())
def test_a_quoted_cell_that_forces_the_careful_way_changes_nothing(rows: list[list[str]]) -> None:
    rows = [["2024-06-05 07:00", "1.5", "2.5", "3.5"], *(row for row in rows if len(row) == WIDTH)]
    heading = "time,raw turbidity (NTU),settled turbidity (NTU),combined turbidity (NTU),note"
    fast = planned("\n".join([heading, *(f"{','.join(row)},x" for row in rows)]) + "\n")
    slow = planned("\n".join([heading, *(f'{",".join(row)},"a, ""b"""' for row in rows)]) + "\n")
    assert all(same(a, b) for a, b in zip(fast.series, slow.series, strict=True))
    assert fast.parsed.refused.kept == slow.parsed.refused.kept
    assert fast.parsed.gaps == slow.parsed.gaps


@pytest.mark.parametrize("size", [200, 5000, 40_000])
def test_stretches_join_without_seam(size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = "".join(
        f"2024-06-{5 + k // 1440:02d} {k // 60 % 24:02d}:{k % 60:02d},{k}.25,{'NA' if k % 7 == 0 else k}\n"
        for k in range(3000)
    )
    text = "time,raw turbidity (NTU),extra (NTU)\n" + rows
    whole = planned(text, {"columns": {"2": "raw_turbidity", "3": "extra"}}, extra=Channel("Extra", "NTU", "NTU"))
    monkeypatch.setattr(fields, "_STRETCH", size)
    parts = planned(text, {"columns": {"2": "raw_turbidity", "3": "extra"}}, extra=Channel("Extra", "NTU", "NTU"))
    assert all(same(a, b) for a, b in zip(whole.series, parts.series, strict=True))
    assert whole.series[0].values.tolist() == [k + 0.25 for k in range(3000)]
