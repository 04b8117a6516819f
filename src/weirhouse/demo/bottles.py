"""Which bottles went to the laboratory, by whose hands, and what came back? The year's readings say what was found."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from weirhouse import quantity
from weirhouse.demo import scenario
from weirhouse.demo.laboratory import QUARTERS, SAMPLED
from weirhouse.demo.names import name
from weirhouse.demo.scenario import hours, local
from weirhouse.records.analytes import analytes
from weirhouse.records.model import Event, Handover, Reading, Result, Sample

CERTIFICATE = "DEMO-LAB-07"
COURIER = "Harrow County courier (demo)"
RAW, PLANT_TAP = "Raw water tap", "Plant tap"
VILLAGE = ("12 Mill Lane", "Chapel Street")
FAR_ENDS = ("Upper Ridge Road", "Mill Lane hydrant")
POSITIVE = local("2026-08-11 09:00")  # one bottle of the month holds coliform; the three repeats do not
REPEATS = local("2026-08-13 09:00")
NITRATE = local("2026-05-12 09:00")
LATE = local("2026-05-12 09:00")  # its nitrate waited too long at the laboratory
AWAITED = local("2026-10-29 09:00")  # on its way when the year ends
METHODS = {
    "coliform": "SM 9223 B", "e_coli": "SM 9223 B", "toc": "SM 5310 C", "treated_toc": "SM 5310 C",
    "raw_alkalinity": "SM 2320 B", "tthm": "EPA 524.2", "haa5": "EPA 552.2", "nitrate": "EPA 300.0",
    "chlorine": "SM 4500-Cl G",
}  # fmt: skip
WAITS = {"coliform": 25.5, "e_coli": 25.5, "tthm": 150.0, "haa5": 198.0, "nitrate": 31.0}  # to the analysis [h]
STARTS = {"coliform": 6.5, "e_coli": 6.5, "haa5": 120.0}  # to the incubation or extraction [h]


@dataclass(frozen=True, slots=True)
class Bottles:
    """What is filled at one place: how long after nine, for what, and what it is for."""

    point: str
    after: float  # [min]
    tests: tuple[str, ...]
    purpose: str = "routine"


def bottles(taken: datetime) -> Iterator[Bottles]:
    """Yield what is filled on a sampling day."""
    yield Bottles(RAW, 0, ("toc", "raw_alkalinity"), "raw")
    yield Bottles(PLANT_TAP, 12, ("treated_toc", "nitrate") if taken == NITRATE else ("treated_toc",))
    for place, point in enumerate(VILLAGE):
        yield Bottles(point, 35 + 20 * place, ("coliform", "e_coli", "chlorine"))
    if taken.month in QUARTERS:
        for place, point in enumerate(FAR_ENDS):
            yield Bottles(point, 80 + 25 * place, ("tthm", "haa5"))


def year(readings: Iterable[Reading]) -> tuple[list[Sample], list[Result]]:
    """Return the samples and results; where a reading of that day says what was found, a result says the same."""
    readings = list(readings)
    said = {(one.channel, one.taken_at): one for one in readings if one.device == "laboratory"}
    hand = [one for one in readings if one.channel in ("raw_alkalinity", "entry_chlorine")]
    samples: list[Sample] = []
    results: list[Result] = []
    for taken in SAMPLED:
        for number, some in enumerate(bottles(taken)):
            sample = _sample(taken, some, number)
            samples.append(sample)
            results += _results(sample, some.tests, said, hand, taken)
    for number, point in enumerate((VILLAGE[1], "8 Chapel Street", "21 Chapel Street")):
        repeat = _sample(REPEATS, Bottles(point, 15 * number, ("coliform", "e_coli", "chlorine"), "check"), number)
        samples.append(repeat)
        results += _results(repeat, ("coliform", "e_coli", "chlorine"), said, hand, REPEATS)
    samples.append(_sample(AWAITED, Bottles(PLANT_TAP, 0, ("nitrate",), "special"), 0))
    return samples, results


def taken(samples: Iterable[Sample]) -> list[Event]:
    """Return the taking of the samples, as the day log has it, with what each is looked at for."""
    return [
        Event(
            kind="sample", started_at=one.taken_at, subject=one.point, person=one.sampler,
            values={"sample": one.id, "tests": " ".join(tests_of(one))},
            note=f"to the laboratory: {', '.join(analytes()[test].title for test in tests_of(one))}",
            id=name("sample taken", one.id),
        )
        for one in samples
    ]  # fmt: skip


def tests_of(sample: Sample) -> tuple[str, ...]:
    """Return what a sample of the year is looked at for."""
    here = sample.taken_at.astimezone(scenario.ZONE)
    if here.date() == REPEATS.date():
        return ("coliform", "e_coli", "chlorine")
    if here.date() == AWAITED.date():
        return ("nitrate",)
    day = next(one for one in SAMPLED if one.date() == here.date())
    return next(one.tests for one in bottles(day) if one.point == sample.point)


def _sample(day: datetime, some: Bottles, number: int) -> Sample:
    taken = day + timedelta(minutes=some.after)
    sampler = scenario.operator_on(day)
    left = day + hours(3.5)
    custody = [Handover(person=COURIER, at=left.astimezone(UTC), condition="sealed, on ice")]
    if day != AWAITED:
        custody.append(
            Handover(person=scenario.LABORATORY, at=(day + hours(6)).astimezone(UTC), condition="3 °C, seal whole")
        )
    known = analytes()
    return Sample(
        point=some.point, purpose=some.purpose, taken_at=taken.astimezone(UTC), sampler=sampler,
        laboratory=scenario.LABORATORY, laboratory_id=CERTIFICATE,
        laboratory_number="" if day == AWAITED else f"HC-{day:%y%m%d}-{number + 1}",
        bottle="; ".join(dict.fromkeys(known[test].bottle for test in some.tests)),
        preservation="; ".join(dict.fromkeys(p for test in some.tests if (p := known[test].preservation))),
        custody=tuple(custody), person=sampler, id=name("sample", some.point, taken.isoformat()),
    )  # fmt: skip


def _results(
    sample: Sample, tests: Sequence[str], said: Mapping[tuple[str, datetime], Reading], hand: Sequence[Reading],
    day: datetime,
) -> Iterator[Result]:  # fmt: skip
    for test in tests:
        known = analytes()[test]
        reading = said.get((test, day.astimezone(UTC)))
        second = sample.point == FAR_ENDS[1]  # nearer the plant: the water is younger there
        if known.presence:
            present = test == "coliform" and day == POSITIVE and sample.point == VILLAGE[1]
            yield _result(sample, test, day, "present" if present else "absent", 1.0 if present else None, "")
        elif test in ("raw_alkalinity", "chlorine"):
            channel = "raw_alkalinity" if test == "raw_alkalinity" else "entry_chlorine"
            near = min(
                (one for one in hand if one.channel == channel),
                key=lambda one: abs(one.taken_at - day.astimezone(UTC)), default=None,
            )  # fmt: skip
            if near is None:
                continue
            share = 1.0 if test == "raw_alkalinity" else 0.72 if sample.point == VILLAGE[0] else 0.61
            number = float(quantity.convert(near.value or 0.0, known.inside, known.unit)) * share
            yield _result(sample, test, day, f"{number:.{0 if test == 'raw_alkalinity' else 2}f}", None, known.unit)
        elif test == "nitrate":
            yield _result(sample, test, day, "0.31", None, known.unit, flags=("H",) if day == LATE else ())
        elif reading is not None:
            text = reading.text
            if second and not text.startswith("<"):
                text = f"{float(text) * 0.82:.1f}"
                if test == "haa5" and float(text) < 6.0:
                    text = "<6.0"
            yield _result(sample, test, day, text, None, known.unit)


def _result(
    sample: Sample, test: str, day: datetime, text: str, value: float | None, unit: str, flags: tuple[str, ...] = ()
) -> Result:
    known = analytes()[test]
    taken = sample.taken_at
    limit, kind, qualifier = None, "", ""
    if text == "absent":
        qualifier = "ND"
    elif text.startswith("<"):
        qualifier, kind = "<", "reporting"
        limit = float(quantity.convert(float(text[1:]), known.unit, known.inside))
        flags = ("U",)
    elif value is None:
        value = float(quantity.convert(float(text), known.unit, known.inside))
    spot = test == "chlorine"
    waits = 60.5 if "H" in flags else WAITS.get(test, 70.0)
    return Result(
        sample=sample.id, analyte=test, value=value, unit=unit or known.unit, text=text, qualifier=qualifier,
        limit=limit, limit_kind=kind, fraction="free" if spot else "", method=METHODS[test],
        laboratory="" if not spot else "Emberly plant (demo)",
        analysed_at=taken if spot else (day + hours(waits)).astimezone(UTC),
        analyst=sample.sampler if spot else "J. Adeyemi (demo)",
        prepared_at=(day + hours(STARTS[test])).astimezone(UTC) if test in STARTS else None,
        holding_limit=known.holding, lab_flags=flags, person=sample.person,
        note="held over a weekend; holding time exceeded" if "H" in flags else "",
        id=name("result", sample.id, test),
    )  # fmt: skip
