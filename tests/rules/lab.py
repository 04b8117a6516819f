"""Samples and results made up for one purpose."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from weirhouse.records.model import Result, Sample

ZONE = ZoneInfo("America/New_York")


class Lab:
    """Collects samples and results; times are local: "2026-07-14 09:00"."""

    def __init__(self) -> None:
        self.samples: list[Sample] = []
        self.results: list[Result] = []

    def take(
        self, at: str, analyte: str = "", text: str = "", *, point: str = "Mill Lane", purpose: str = "routine",
        sample: str = "", told_h: float | None = 24.0, flag: str = "", **more: object,
    ) -> "Lab":  # fmt: skip
        """Take a sample (or go on with one) and, with an analyte, let the laboratory report: "0.06", "<0.5", "ND"."""
        taken = datetime.fromisoformat(at).replace(tzinfo=ZONE)
        id = sample or f"s{len(self.samples)}"
        if id not in {s.id for s in self.samples}:
            self.samples.append(
                Sample(id=id, point=point, purpose=purpose, taken_at=taken, sampler="K. Hale", person="K. Hale")
            )
        if analyte:
            qualifier = "ND" if text == "ND" else text[0] if text[:1] in "<>" else ""
            number = float(text.lstrip("<>")) if text not in ("ND", "") else None
            self.results.append(
                Result(
                    id=f"r{len(self.results)}", sample=id, analyte=analyte, value=None if qualifier else number,
                    unit="mg/L", text=text, qualifier=qualifier, limit=number if qualifier else None, flag=flag,
                    analysed_at=None if told_h is None else taken + timedelta(hours=told_h), person="K. Hale", **more,  # type: ignore[arg-type]
                )
            )  # fmt: skip
        return self


QUARTERS = ("2025-08-12", "2025-11-12", "2026-02-11", "2026-05-12", "2026-08-11")


def quarterly(values: tuple[str, ...], analyte: str = "tthm", point: str = "Mill Lane", last: int = 5) -> Lab:
    """Return a laboratory with one result a quarter, the last of them in the third quarter of 2026."""
    lab = Lab()
    for day, text in zip(QUARTERS[last - len(values) : last], values, strict=True):
        if text:
            lab.take(f"{day} 09:00", analyte, text, point=point)
    return lab
