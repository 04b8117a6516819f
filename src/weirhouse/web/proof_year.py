"""The year: figures for the consumer confidence report, and its files."""

from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk.judging import year_judged
from weirhouse.reports.monthly import KINDS, file_name
from weirhouse.reports.paper import PAPERS
from weirhouse.reports.yearly import YearlyReport
from weirhouse.web.proof import proof_frame, rules_stamp
from weirhouse.web.proof_entries import TYPES
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder


def _year(request: Request) -> int | None:
    text = request.path_params["year"]
    return int(text) if len(text) == 4 and text.isdecimal() and 1970 <= int(text) < 9000 else None


def _report(folder: PlantFolder, year: int) -> YearlyReport:
    now = folder.present()

    def make() -> YearlyReport:
        with folder.reading() as store:
            made = YearlyReport(year_judged(store, folder.plant(), folder.folder, year, now))
        _ = made.figures
        return made

    return folder.kept(("year", year, now, rules_stamp(folder)), make)


def year_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the year's figures."""
    year = _year(request)
    if year is None:
        return None
    zone = folder.plant().zone
    this = folder.present().astimezone(zone).year
    with folder.reading() as store:
        begin = store.span()[0]
    first = begin.astimezone(zone).year if begin is not None else this
    return page(request, "proof_year.html", {
        "frame": proof_frame(folder, f"Year {year}"), "f": _report(folder, year).figures,
        "before": year - 1 if year > first else 0, "after": year + 1 if year < this else 0,
    })  # fmt: skip


def year_file(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the year's report as a file."""
    year, kind, asked = _year(request), request.path_params["kind"], request.query_params.get("paper", "letter")
    if year is None or kind not in KINDS or asked not in PAPERS:
        return None
    made = _report(folder, year).written(kind, "a4" if asked == "a4" else "letter")
    name = file_name(f"{year}", kind, folder.plant().system_id)
    return Response(made, media_type=TYPES[kind], headers={"content-disposition": f'attachment; filename="{name}"'})
