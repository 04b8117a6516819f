"""How do the report's figures stand in a CSV file? One figure a row: section, day, what, value, unit, remark."""

from collections.abc import Iterator, Mapping
from typing import Any

from weirhouse.records.cells import csv_text

HEAD = ("section", "date or time", "subject", "item", "value", "unit", "remark")
Row = tuple[object, ...]


def csv_bytes(figures: Mapping[str, Any]) -> bytes:
    """Return the figures of a month's report as CSV, with a byte-order mark so that every spreadsheet reads UTF-8."""
    return ("\N{ZERO WIDTH NO-BREAK SPACE}" + csv_text([HEAD, *_rows(figures)])).encode()


def _rows(f: Mapping[str, Any]) -> Iterator[Row]:
    if f["demonstration"]:
        yield ("report", "", "", "demonstration", f["demonstration"], "", "")
    plant = f["plant"]
    for item in ("name", "system_id", "source_water", "population", "connections", "permit", "treatment"):
        yield ("report", "", "plant", item.replace("_", " "), plant[item], "", "")
    for item in ("month", "from", "until", "due", "judged_at", "answer", "made_with"):
        yield ("report", "", "", item.replace("_", " "), f[item], "", "")
    yield ("report", "", "chain", "entries", f["chain"]["entries"], "", f["chain"]["hash"])
    if f["closed"]:
        yield ("report", f["closed"]["at"], "", "closed by", f["closed"]["by"], "", f["closed"]["note"])
    for one in f["operators"]:
        yield ("operator", "", one["name"], one["role"], one["certificate"], one["class"], one["valid_until"])
    for one in f["requirements"]:
        yield (
            "requirement", one["period"], one["subject"], one["title"], one["shown"], "", one["sentence"],
        )  # fmt: skip
        for item in ("status", "limit", "citation", "counted", "over", "not_counted", "standing"):
            yield ("requirement", one["period"], one["subject"], f"{one['title']}: {item}", one[item], "", "")
        for way in one["both_ways"]:
            yield ("requirement", one["period"], one["subject"], way["words"], way["value"], one["unit"], way["status"])
    yield from _table(f["daily"])
    for one in f["chemicals"]:
        for item in ("used", "delivered", "put_into_day_tank", "stock"):
            yield (
                "chemical",
                "",
                one["feed"],
                item.replace("_", " "),
                one[item],
                "",
                f"counted as {one['counted_as']}",
            )
    for one in f["instrument_checks"]:
        yield (
            "instrument check", one["at"], one["instrument"], f"standard {one['standard']} {one['standard_value']}",
            one["found"], "", f"left {one['left']}, {one['result']}, by {one['by']}. {one['note']}",
        )  # fmt: skip
    for one in f["instrument_outages"]:
        yield ("instrument outage", one["from"], one["instrument"], "until", one["until"], "", one["note"])
        for grab in one["grabs"]:
            yield (
                "grab",
                grab["at"],
                one["instrument"],
                "value",
                grab["value"],
                "",
                f"by {grab['by']}. {grab['note']}",
            )
    for one in f["put_aside"]:
        yield ("put aside", one["at"], one["channel"], one["why"], one["value"], "", one["explanation"])
    for one in f["over_a_level"]:
        yield ("over a level", one["at"], one["what"], one["sentence"], one["highest"], "", one["explanation"])
    for one in f["samples"]:
        yield (
            "sample", one["taken_at"], one["place"], one["analyte"], one["result"], "",
            ", ".join(one[k] for k in ("kind", "sampler", "laboratory", "method", "analysed_at", "note") if one[k]),
        )  # fmt: skip
    if f["form"]:
        for row in f["form"]["rows"]:
            for heading, value in zip(f["form"]["headings"], row, strict=True):
                yield ("form", row[0], f["form"]["title"], heading, value, "", "")
    for one in f["open"]:
        yield ("open", one["date"], one["kind"], "", "", "", one["sentence"])
    for one in f["after_closing"]:
        yield ("after closing", one["entered_at"], one["kind"], one["what"], "", "", f"{one['by']}: {one['reason']}")


def _table(daily: Mapping[str, Any]) -> Iterator[Row]:
    for day in daily["days"]:
        yield ("day", day["date"], "", "hours of the day", day["hours"], "h", "")
        for column in daily["columns"]:
            cell = day["cells"][column["id"]]
            value = cell["text"] if cell["value"] is None else cell["value"]
            yield ("day", day["date"], column["under"], column["title"], value, column["unit"], cell["note"])
    for column in daily["columns"]:
        cell = daily["month"][column["id"]]
        if cell["value"] is not None:
            how = {"sum": "total", "highest": "highest", "lowest": "lowest"}.get(column["month"], "mean")
            title = f"{column['title']}: {how} of the month"
            yield ("month", "", column["under"], title, cell["value"], column["unit"], cell["note"])
