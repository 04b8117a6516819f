"""Delimited tables in the forms that loggers, spreadsheets and surveys write."""

import math

import pytest
from tests.records.importing.plants import planned, series, times, utc, values, why

from weirhouse.records.importing import FileProblem

PLAIN = "time,raw turbidity (NTU)\n2024-06-05 10:00,4.25\n2024-06-05 10:15,4.5\n2024-06-05 10:30,12\n"
EXPECTED = [utc(2024, 6, 5, 14, m) for m in (0, 15, 30)]


@pytest.mark.parametrize(("separator", "name"), [(",", "comma"), (";", "semicolon"), ("\t", "tab"), ("|", "pipe")])
def test_separators_are_found(separator: str, name: str) -> None:
    done = planned(PLAIN.replace(",", separator))
    assert times(done, "raw_turbidity") == EXPECTED, name
    assert values(done, "raw_turbidity") == [4.25, 4.5, 12.0]


def test_blanks_may_part_the_columns() -> None:
    done = planned(
        "Date        Time   raw_turbidity\n2024-06-05  10:00  4.25\n2024-06-05  10:15   4.5\n2024-06-05 10:30 12\n"
    )
    assert times(done, "raw_turbidity") == EXPECTED
    assert values(done, "raw_turbidity") == [4.25, 4.5, 12.0]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end: str) -> None:
    assert values(planned(PLAIN.replace("\n", end)), "raw_turbidity") == [4.25, 4.5, 12.0]


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1", "utf-32"]
)
def test_encodings(encoding: str) -> None:
    text = "Zeit;Temperatur roh (°C)\n05.06.2024 10:00;12,5\n25.06.2024 10:15;12,75\n"
    if encoding.endswith(("-le", "-be")):  # without its mark only plain letters give it away
        text = text.replace("°", "deg ")
    done = planned(text.encode(encoding))
    assert values(done, "raw_temperature") == [12.5, 12.75]


def test_decimal_comma() -> None:
    done = planned("Datum;raw turbidity (NTU);raw pH\n5.6.2024 10:00;4,25;7,1\n25.6.2024 10:15;1.234,5;7,15\n")
    assert values(done, "raw_turbidity") == [4.25, 1234.5]
    assert values(done, "raw_ph") == [7.1, 7.15]


def test_decimal_comma_between_commas_is_refused_in_a_sentence() -> None:
    with pytest.raises(FileProblem, match="decimal comma"):
        planned("time,raw turbidity (NTU)\n2024-06-05 10:00,4,25\n2024-06-05 10:15,4,50\n")


def test_quoted_decimal_comma_between_commas() -> None:
    done = planned('time,raw turbidity (NTU)\n2024-06-05 10:00,"4,25"\n2024-06-05 10:15,"4,5"\n', {"decimal": ","})
    assert values(done, "raw_turbidity") == [4.25, 4.5]


def test_thousands_are_read_where_the_file_shows_its_decimal_sign() -> None:
    done = planned('time,raw turbidity (NTU)\n2024-06-05 10:00,"1,234"\n2024-06-05 10:15,4.5\n')
    assert values(done, "raw_turbidity") == [1234.0, 4.5]


def test_a_number_that_may_be_thousands_or_decimals_is_refused() -> None:
    done = planned('time,raw turbidity (NTU)\n2024-06-05 10:00,"1,234"\n2024-06-05 10:15,4\n')
    assert values(done, "raw_turbidity") == [4.0]
    assert 'decimal = "."' in why(done).lines[2]


# --- dates and clocks


@pytest.mark.parametrize(
    "stamp",
    [
        "2024-06-25 10:00", "2024-06-25T10:00:00", "2024/06/25 10:00", "20240625 1000", "20240625T100000",
        "20240625100000", "06/25/2024 10:00", "6/25/24 10:00", "25/06/2024 10:00", "25.06.2024 10:00:00",
        "25-Jun-2024 10:00", "25 June 2024 10:00", "Jun 25, 2024 10:00", "06/25/2024 10:00 AM",
        "06/25/2024 10:00:00 am", "25JUN2024 10:00", "25JUN2024:10:00:00", "Tue 25 Jun 2024 10:00",
        "Tuesday, June 25, 2024 10:00", "25 juin 2024 10:00", "25. Juni 2024 10:00", "25-giu-24 10:00",
        "2024-06-25T14:00:00Z", "2024-06-25T10:00:00-04:00", "2024-06-25T16:00:00+0200", "2024-06-25 10:00 EDT",
        "2024-06-25 09:00 EST", "2024-06-25 14:00:00.000 UTC", "2024-06-25T10:00:00.5-04:00",
    ],
)  # fmt: skip
def test_ways_to_write_one_instant(stamp: str) -> None:
    done = planned(f"time;raw turbidity (NTU)\n{stamp};4.25\n")
    assert times(done, "raw_turbidity") == [utc(2024, 6, 25, 14)]


def test_twelve_o_clock() -> None:
    text = "time,raw turbidity (NTU)\n6/25/2024 12:00 AM,1\n6/25/2024 12:30 PM,2\n6/25/2024 11:59 PM,3\n"
    assert times(planned(text), "raw_turbidity") == [
        utc(2024, 6, 25, 4), utc(2024, 6, 25, 16, 30), utc(2024, 6, 26, 3, 59),
    ]  # fmt: skip


def test_a_column_of_am_and_pm_belongs_to_the_time() -> None:
    text = "Date,Time,AM/PM,raw turbidity (NTU)\n6/25/2024,12:10,AM,1\n6/25/2024,10:00,AM,2\n6/25/2024,1:00,PM,3\n"
    assert times(planned(text), "raw_turbidity") == [
        utc(2024, 6, 25, 4, 10), utc(2024, 6, 25, 14), utc(2024, 6, 25, 17),
    ]  # fmt: skip
    codes = planned("time,raw turbidity,raw turbidity cd\n2024-06-25 13:00,1,A\n2024-06-25 14:00,2,P\n")
    assert times(codes, "raw_turbidity") == [utc(2024, 6, 25, 17), utc(2024, 6, 25, 18)]


@pytest.mark.parametrize(
    "text",
    [
        "Year,Month,Day,Hour,Minute,raw turbidity (NTU)\n2024,6,5,10,0,4\n2024,6,5,10,15,5\n2024,6,31,10,15,5\n",
        "hour,minute,yr,mo,dy,raw turbidity (NTU)\n10,0,2024,6,5,4\n10,15,2024,6,5,5\n25,15,2024,6,5,5\n",
        "year,doy,hhmm,raw turbidity (NTU)\n2024,157,1000,4\n2024,157,1015,5\n2024,367,1015,5\n",
        "date,hour,minute,raw turbidity (NTU)\n2024-06-05,10,0,4\n2024-06-05,10,15,5\n2024-06-05,10,60,5\n",
    ],
)
def test_parts_of_a_time_in_columns_of_their_own(text: str) -> None:
    done = planned(text)
    assert times(done, "raw_turbidity") == [utc(2024, 6, 5, 14), utc(2024, 6, 5, 14, 15)]
    assert set(why(done).lines) == {4}


def test_epoch_with_a_fraction_and_a_bad_row() -> None:
    done = planned("unixtime,raw turbidity (NTU)\n1717596000.5,4\n1717596900.5,5\nbad,6\n")
    assert times(done, "raw_turbidity") == [1717596000, 1717596900]
    assert why(done).lines == {4: "the time is not a number of seconds"}


def test_lines_below_the_data_are_refused() -> None:
    done = planned("time,raw turbidity (NTU)\n2024-06-05 10:00,4\n2024-06-05 10:15,5\nTotal,9\nEnd of file\n")
    assert values(done, "raw_turbidity") == [4.0, 5.0]
    assert set(why(done).lines) == {4, 5}


def test_where_every_value_is_refused_the_file_is() -> None:
    with pytest.raises(FileProblem, match=r'Line 2: .* may be thousands or decimals: say decimal = "\."'):
        planned("time;raw turbidity (NTU)\n2024-06-05 10:00;1,234\n2024-06-05 10:15;2,345\n")


def test_offsets_in_a_column_of_their_own() -> None:
    done = planned("time,tz,raw turbidity (NTU)\n2024-06-05 10:00,UTC-5,4\n2024-06-05 10:00,-04:00,5\n")
    assert times(done, "raw_turbidity") == [utc(2024, 6, 5, 14), utc(2024, 6, 5, 15)]


def test_years_of_two_digits_at_the_beginning_are_asked_about() -> None:
    text = "time,raw turbidity (NTU)\n24-06-25 10:00,1\n24-06-26 10:00,2\n"
    with pytest.raises(FileProblem, match='date_order = "ymd"'):
        planned(text)
    assert times(planned(text, {"date_order": "ymd"}), "raw_turbidity")[0] == utc(2024, 6, 25, 14)
    days = "".join(f"{d:02d}.06.24 10:00;{d}\n" for d in range(20, 30))
    assert times(planned("time;raw turbidity (NTU)\n" + days), "raw_turbidity")[0] == utc(2024, 6, 20, 14)


def test_a_date_alone_where_midnight_belongs() -> None:
    hours = [f"6/{25 + k // 24}/2024" + (f" {k % 24}:00" if k % 24 else "") for k in range(1, 40)]
    done = planned("time,raw turbidity (NTU)\n" + "".join(f"{h},1\n" for h in hours))
    assert times(done, "raw_turbidity") == [utc(2024, 6, 25, 5) + 3600 * k for k in range(39)]
    assert "1 stamps without a time of day stand where midnight belongs" in done.parsed.remarks[-1]
    done = planned("time,raw turbidity (NTU)\n" + "".join(f"{h},1\n" for h in [*hours, "6/30/2024", "6/26/2024 16:00"]))
    assert len(times(done, "raw_turbidity")) == 40
    assert why(done).lines == {41: "the time of day is missing"}


def test_day_or_month_first_is_asked_where_no_date_shows_it() -> None:
    text = "time,raw turbidity (NTU)\n05/06/2024 10:00,1\n06/06/2024 10:00,2\n"
    with pytest.raises(FileProblem, match=r"day_first = true or day_first = false"):
        planned(text)
    assert times(planned(text, {"day_first": True}), "raw_turbidity")[0] == utc(2024, 6, 5, 14)
    assert times(planned(text, {"day_first": False}), "raw_turbidity")[0] == utc(2024, 5, 6, 14)


def test_one_late_date_settles_the_order_of_all() -> None:
    done = planned("time,raw turbidity (NTU)\n05/06/2024 10:00,1\n13/06/2024 10:00,2\n")
    assert times(done, "raw_turbidity")[0] == utc(2024, 6, 5, 14)


def test_a_heading_that_spells_the_order_settles_it() -> None:
    done = planned("time (DD/MM/YYYY hh:mm),raw turbidity (NTU)\n05/06/2024 10:00,1\n06/06/2024 10:00,2\n")
    assert times(done, "raw_turbidity")[0] == utc(2024, 6, 5, 14)


def test_both_orders_in_one_file_are_refused() -> None:
    rows = "".join(f"13/06/2024 {h}:00,1\n06/14/2024 {h}:00,1\n" for h in range(10, 20))
    with pytest.raises(FileProblem, match="day first and"):
        planned("time,raw turbidity (NTU)\n" + rows)


def test_epoch_seconds_and_milliseconds() -> None:
    start = utc(2024, 6, 5, 14)
    assert times(planned(f"unix time,raw turbidity (NTU)\n{start},1\n{start + 900},2\n"), "raw_turbidity") == [
        start, start + 900,
    ]  # fmt: skip
    done = planned(f"timestamp,raw turbidity (NTU)\n{start}000,1\n{start + 900}000,2\n")
    assert times(done, "raw_turbidity") == [start, start + 900]


def test_spreadsheet_serial_days_only_when_declared() -> None:
    # 45448 is 5 June 2024 in the 1900 date system: 25569 days before 1970-01-01
    text = "time,raw turbidity (NTU)\n45448.5,1\n45448.510416667,2\n"
    with pytest.raises(FileProblem, match="no column of dates or times"):
        planned(text)
    done = planned(text, {"time": "time", "epoch": "days1900"})
    assert times(done, "raw_turbidity") == [utc(2024, 6, 5, 16), utc(2024, 6, 5, 16, 15)]


def test_date_and_time_in_two_columns() -> None:
    done = planned("Date,Time,raw turbidity (NTU)\n6/25/2024,10:00:00,1\n6/25/2024,1:15 PM,2\n")
    assert times(done, "raw_turbidity") == [utc(2024, 6, 25, 14), utc(2024, 6, 25, 17, 15)]


def test_zone_in_the_heading_counts_all_year() -> None:
    done = planned("Date Time (GMT-05:00),raw turbidity (NTU)\n2024-06-05 10:00,1\n2024-12-05 10:00,2\n")
    assert times(done, "raw_turbidity") == [utc(2024, 6, 5, 15), utc(2024, 12, 5, 15)]


def test_zone_of_the_mapping() -> None:
    done = planned(PLAIN, {"time_zone": "UTC-07:00"})
    assert times(done, "raw_turbidity")[0] == utc(2024, 6, 5, 17)
    done = planned(PLAIN, {"time_zone": "Europe/Berlin"})
    assert times(done, "raw_turbidity")[0] == utc(2024, 6, 5, 8)


def autumn(minutes: list[tuple[int, int]]) -> str:
    rows = "".join(f"2026-11-01 {h:02d}:{m:02d},{k}\n" for k, (h, m) in enumerate(minutes))
    return "time,raw turbidity (NTU)\n" + rows


def test_the_repeated_hour_is_told_by_order() -> None:
    wall = [(0, 30), (0, 45), (1, 0), (1, 15), (1, 30), (1, 45), (1, 0), (1, 15), (1, 30), (1, 45), (2, 0), (2, 15)]
    done = planned(autumn(wall))
    begin = utc(2026, 11, 1, 4, 30)
    assert times(done, "raw_turbidity") == [begin + 900 * k for k in range(12)]
    assert values(done, "raw_turbidity") == [float(k) for k in range(12)]
    assert not done.parsed.refused.count


def test_a_repeated_hour_that_cannot_be_told_is_refused() -> None:
    done = planned(autumn([(0, 0), (1, 30), (3, 0), (5, 0)]))
    assert values(done, "raw_turbidity") == [0.0, 2.0, 3.0]
    assert "came twice" in why(done).lines[3]


def test_a_logger_without_summer_time_is_asked_about() -> None:
    steady = [(h, m) for h in range(4) for m in (0, 15, 30, 45)]
    with pytest.raises(FileProblem, match='clock = "standard"'):
        planned(autumn(steady))
    done = planned(autumn(steady), {"clock": "standard"})
    assert times(done, "raw_turbidity") == [utc(2026, 11, 1, 5) + 900 * k for k in range(16)]
    done = planned(autumn(steady), {"clock": "utc"})
    assert times(done, "raw_turbidity") == [utc(2026, 11, 1, 0) + 900 * k for k in range(16)]


def test_the_skipped_hour_is_refused_where_the_clock_is_the_wall_clock() -> None:
    rows = [
        "2026-03-08 01:30,1",
        "2026-03-08 01:45,2",
        "2026-03-08 02:30,3",
        "2026-03-08 03:00,4",
        "2026-03-08 03:15,5",
    ]
    done = planned("time,raw turbidity (NTU)\n" + "\n".join(rows) + "\n", {"clock": "wall"})
    assert times(done, "raw_turbidity") == [
        utc(2026, 3, 8, 6, 30),
        utc(2026, 3, 8, 6, 45),
        utc(2026, 3, 8, 7),
        utc(2026, 3, 8, 7, 15),
    ]
    assert why(done).lines == {4: "2026-03-08 02:30 did not exist in America/New_York: the clocks went forward"}


def test_change_nights_are_told() -> None:
    wall = [(0, 30), (0, 45), (1, 0), (1, 15), (1, 30), (1, 45), (1, 0), (1, 15), (1, 30), (1, 45), (2, 0), (2, 15)]
    assert planned(autumn(wall)).parsed.nights == [
        "2026-11-01 (America/New_York, clocks back): the file changes with them"
    ]


def test_impossible_and_future_times_are_refused_and_the_others_go_in() -> None:
    text = (
        "time,raw turbidity (NTU)\n2024-02-30 10:00,1\n2024-03-01 10:00,2\n2031-01-01 00:00,3\n"
        "1970-01-01 00:00,4\nnonsense,5\n2024-03-01 25:00,6\n"
        + "".join(f"2024-03-02 {h:02d}:00,{h}\n" for h in range(10, 20))
    )
    done = planned(text)
    assert values(done, "raw_turbidity") == [2.0, *range(10, 20)]
    lines = why(done).lines
    assert set(lines) == {2, 4, 5, 6, 7}
    assert "future" in lines[4] and "1990" in lines[5]


# --- cells


def test_words_and_numbers_for_no_reading_are_gaps() -> None:
    cells = ["4.5", "NA", "", "-9999", "Eqp", "***", "--", "#N/A", "5.5"]
    text = "time,raw turbidity (NTU)\n" + "".join(f"2024-06-05 10:{k:02d},{c}\n" for k, c in enumerate(cells))
    done = planned(text)
    assert values(done, "raw_turbidity") == [4.5, 5.5]
    assert why(done).gaps == {"NA": 1, "-9999": 1, "Eqp": 1, "***": 1, "--": 1, "#N/A": 1}
    assert not done.parsed.refused.count


def test_a_letter_in_a_number_is_refused_with_its_line() -> None:
    done = planned("time,raw turbidity (NTU),raw pH\n2024-06-05 10:00,4.2S,7.1\n2024-06-05 10:15,4.3,7.2\n")
    assert values(done, "raw_turbidity") == [4.3]
    assert values(done, "raw_ph") == [7.1, 7.2]
    assert why(done).lines == {2: 'raw turbidity (NTU): "4.2S" is not a number'}


def test_below_and_above_are_kept_as_such() -> None:
    done = planned("time,raw turbidity (NTU)\n2024-06-05 10:00,<0.1\n2024-06-05 10:15,> 1000\n2024-06-05 10:30,ND\n")
    one = series(done, "raw_turbidity")
    assert one.flags.tolist() == [3, 4, 3]
    assert one.values[:2].tolist() == [0.1, 1000.0] and math.isnan(one.values[2])


def test_absurd_numbers_are_refused() -> None:
    done = planned("time,raw turbidity (NTU)\n2024-06-05 10:00,1e400\n2024-06-05 10:15,1e3\n")
    assert values(done, "raw_turbidity") == [1000.0]
    assert "too large" in why(done).lines[2]


def test_repeated_stamps_count_once_and_differing_ones_are_refused() -> None:
    done = planned(
        "time,raw turbidity (NTU)\n2024-06-05 10:00,1\n2024-06-05 10:00,1\n2024-06-05 10:15,2\n2024-06-05 10:15,3\n"
    )
    assert values(done, "raw_turbidity") == [1.0, 2.0]
    assert done.repeated == 1
    assert "the first is kept" in why(done).lines[5]


def test_order_of_time_whatever_the_order_of_the_file() -> None:
    done = planned("time,raw turbidity (NTU)\n2024-06-05 10:30,3\n2024-06-05 10:15,2\n2024-06-05 10:00,1\n")
    assert values(done, "raw_turbidity") == [1.0, 2.0, 3.0]


def test_rows_with_missing_or_spare_fields() -> None:
    done = planned(
        "time,raw turbidity (NTU),raw pH\n2024-06-05 10:00,1,7\n2024-06-05 10:15,2\n2024-06-05 10:30,3,7,8,9\n"
        "2024-06-05 10:45,4,7.2,,\n\n2024-06-05 11:00,5,7.3\n"
    )
    assert values(done, "raw_turbidity") == [1.0, 4.0, 5.0]
    assert why(done).lines == {3: "has 2 fields where the headings are 3", 4: "has 5 fields where the headings are 3"}


def test_a_torn_last_line_is_refused_and_the_others_go_in() -> None:
    done = planned("time,raw turbidity (NTU),raw pH\n2024-06-05 10:00,1,7\n2024-06-05 10:15,2,7\n2024-06-05 10:3")
    assert values(done, "raw_turbidity") == [1.0, 2.0]
    assert "ends early" in why(done).lines[4]


def test_quoted_cells_with_separators_and_line_ends() -> None:
    done = planned(
        'time,note,raw turbidity (NTU)\n2024-06-05 10:00,"rain, then\nhail",1\n2024-06-05 10:15,"he said ""no""",2\n'
    )
    assert values(done, "raw_turbidity") == [1.0, 2.0]


def test_codes_beside_values() -> None:
    done = planned(
        "time,raw_turbidity,raw_turbidity_flag\n2024-06-05 10:00,1,A\n2024-06-05 10:15,2,e\n2024-06-05 10:30,3,R\n"
        "2024-06-05 10:45,4,P\n2024-06-05 11:00,5,<\n"
    )
    assert series(done, "raw_turbidity").flags.tolist() == [0, 1, 2, 0, 3]


def test_codes_by_the_mapping() -> None:
    done = planned(
        "time,raw_turbidity,raw_turbidity_flag\n2024-06-05 10:00,1,7\n2024-06-05 10:15,2,8\n2024-06-05 10:30,3,9\n",
        {"flags": {"7": "ok", "8": "doubtful", "9": "gap"}},
    )
    assert values(done, "raw_turbidity") == [1.0, 2.0]
    assert series(done, "raw_turbidity").flags.tolist() == [0, 1]


# --- headings


def test_title_lines_units_row_and_blank_lines_above_the_data() -> None:
    done = planned(
        "Plot Title: brook at the intake\nSerial No.:,10246242,\n\nDate Time,Water Temp,Turb\nM/D/Y h:m,deg F,FNU\n\n"
        "6/25/2024 10:00,50,4\n6/25/2024 10:15,59,5\n"
    )
    assert values(done, "raw_temperature") == pytest.approx([10.0, 15.0])
    assert values(done, "raw_turbidity") == [4.0, 5.0]
    assert "FNU counted as NTU: both are read from formazin, by different light." in done.parsed.remarks


def test_a_row_that_says_how_each_column_was_made() -> None:
    done = planned(
        '"TIMESTAMP","RECORD","Turb_Avg","WTemp_Avg"\n"TS","RN","NTU","Deg C"\n"","","Avg","Avg"\n'
        '"2024-06-05 10:00:00",0,4.25,11.2\n"2024-06-05 10:15:00",1,"NAN",11.3\n"2024-06-05 10:30:00",2,4.5,11.3\n'
    )
    assert values(done, "raw_turbidity") == [4.25, 4.5] and values(done, "raw_temperature") == [11.2, 11.3, 11.3]
    assert not done.parsed.refused.count


def test_a_value_may_carry_its_unit() -> None:
    done = planned(
        "time,raw turbidity,plant flow\n2024-06-05 10:00,4.2 NTU,140 gpm\n2024-06-05 10:15,<0.1 NTU,141gpm\n"
        "2024-06-05 10:30,5,9 L/s\n"
    )
    assert values(done, "raw_turbidity") == [4.2, 0.1, 5.0]
    assert series(done, "raw_turbidity").flags.tolist() == [0, 3, 0]
    assert [v / (231 * 0.0254**3 / 60) for v in values(done, "plant_flow")] == pytest.approx([140, 141])
    assert why(done).lines == {4: 'plant flow: "9 L/s" is not a number'}


def test_headings_in_a_comment_line() -> None:
    done = planned("# station: intake\n#time;raw_turbidity (NTU)\n2024-06-05 10:00;1\n2024-06-05 10:15;2\n")
    assert values(done, "raw_turbidity") == [1.0, 2.0]


def test_units_are_converted() -> None:
    done = planned(
        "time,raw temperature (°C),stream level (ft),plant flow (gpm),raw uv254 (1/cm),filter 1 head loss (in)\n"
        "2024-06-05 10:00,10,3,150,0.05,12\n"
    )
    assert values(done, "raw_temperature") == [10.0]
    assert values(done, "stream_level") == [pytest.approx(0.9144)]  # the foot is 0.3048 m by definition
    assert values(done, "plant_flow") == [pytest.approx(150 * 231 * 0.0254**3 / 60)]  # the gallon is 231 in3
    assert values(done, "raw_uv254") == [pytest.approx(5.0)]
    assert values(done, "filter_1_head_loss") == [pytest.approx(0.3048)]


def test_degrees_without_a_unit_are_settled_by_what_water_can_be_or_asked() -> None:
    assert values(planned("time,water temp\n2024-06-05 10:00,12\n2024-06-05 11:00,13\n"), "raw_temperature") == [12, 13]
    warm = planned("time,water temp\n2024-06-05 10:00,68\n2024-06-05 11:00,50\n")
    assert values(warm, "raw_temperature") == [pytest.approx(20.0), pytest.approx(10.0)]
    with pytest.raises(FileProblem, match="degC or degF"):  # air may be 30 of either
        planned("time,air temp\n2024-06-05 10:00,30\n2024-06-05 11:00,31\n")


def test_a_flow_without_a_unit_is_left_and_says_how_to_name_it() -> None:
    done = planned("time,plant flow rate,raw pH\n2024-06-05 10:00,140,7\n")
    assert [s.channel for s in done.series] == ["raw_ph"]
    assert 'unit = "gpm"' in why(done).left["plant flow rate"]


def test_two_columns_that_may_be_one_channel_are_asked_about() -> None:
    with pytest.raises(FileProblem, match="Which column is raw_turbidity: Turbidity A, Turbidity B"):
        planned("time,Turbidity A,Turbidity B\n2024-06-05 10:00,1,2\n")


def test_places_in_headings() -> None:
    done = planned(
        "time,Raw Turb NTU,Settled Turb NTU,Filter 1 Turb NTU,FLT-2 Turb NTU,CFE Turb NTU\n"
        "2024-06-05 10:00,9,2,.05,.06,.07\n"
    )
    assert {s.channel: float(s.values[0]) for s in done.series} == {
        "raw_turbidity": 9, "settled_turbidity": 2, "filter_1_turbidity": 0.05, "filter_2_turbidity": 0.06,
        "combined_turbidity": 0.07,
    }  # fmt: skip


def test_what_is_taken_for_granted_is_said() -> None:
    done = planned("time,Turbidity (NTU)\n2024-06-05 10:00,9\n")
    assert done.parsed.remarks == ['"Turbidity (NTU)" does not say where it was measured; taken for raw_turbidity.']


def test_mapping_names_columns_units_and_rows() -> None:
    text = "station;when;tu;remark\nin;05.06.2024 10:00;4,5;\nout;05.06.2024 10:00;0,1;\nin;15.06.2024 10:00;5;<\n"
    said = {
        "time": "when",
        "where": {"station": "in"},
        "columns": {"tu": {"channel": "raw_turbidity", "unit": "NTU", "qualifier": "remark"}},
    }
    done = planned(text, said)
    assert values(done, "raw_turbidity") == [4.5, 5.0]
    assert series(done, "raw_turbidity").flags.tolist() == [0, 3]


def test_groups_above_the_headings_tell_columns_apart() -> None:
    done = planned(
        "\n,Raw,,Filter 1,\nTime,Turb,pH,Turb,Head loss\n,NTU,,NTU,ft\n2024-06-05 10:00,9,7.1,.05,3\n"
        "2024-06-05 10:15,9,7.1,.05,3\n2024-06-05 10:30,9,7.1,.05,3\n"
    )
    assert {s.channel: float(s.values[0]) for s in done.series} == {
        "raw_turbidity": 9, "raw_ph": 7.1, "filter_1_turbidity": 0.05, "filter_1_head_loss": pytest.approx(0.9144),
    }  # fmt: skip


def test_a_separator_at_the_end_of_each_row() -> None:
    done = planned("time;raw turbidity (NTU);raw pH\n2024-06-05 10:00;4;7;\n2024-06-05 10:15;5;7;\n")
    assert values(done, "raw_turbidity") == [4.0, 5.0]
    done = planned("time;raw turbidity (NTU);raw pH;\n2024-06-05 10:00;4;7\n2024-06-05 10:15;5;7\n")
    assert values(done, "raw_ph") == [7.0, 7.0]


def test_the_preamble_names_a_column_called_value() -> None:
    done = planned(
        "# Value units: FNU\n# Value parameter: Turbidity, Form Neph\n\n"
        "ISO 8601 UTC,Timestamp (UTC-05:00),Value,Grade\n"
        "2016-10-01T05:00:00Z,2016-10-01 00:00:00,3.5,GOOD\n2016-10-01T05:15:00Z,2016-10-01 00:15:00,3.75,GOOD\n"
    )
    assert values(done, "raw_turbidity") == [3.5, 3.75]
    assert times(done, "raw_turbidity")[0] == utc(2016, 10, 1, 5)
