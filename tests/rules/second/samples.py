"""What does the rule text say of samples? A second evaluation, from 40 CFR 141.64, .65, .80, .135, .626, .859, .860.

Every function takes plain numbers. A quantity that was not detected is given with both ends: (0, limit).
"""

from collections.abc import Mapping, Sequence

from tests.reference import rows as rows_of

Ends = tuple[float, float]  # the least and the most that a result can be


def word(low: float, high: float, limit: float) -> str:
    """Broken if even the lower end passes the limit; met if the upper end does not."""
    if low > limit + 1e-9:
        return "broken"
    return "met" if high <= limit + 1e-9 else "cannot tell"


def locational_average(quarters: Sequence[Ends | None], limit: float, over: bool) -> tuple[str, float | None]:
    """141.64(b)(2): average of four quarters; broken by fewer when even zeros in the rest would not help."""
    known = [q for q in quarters if q is not None]
    if not known:
        return "cannot tell", None
    low, high = sum(q[0] for q in known), sum(q[1] for q in known)
    value = high / len(known)
    if low / 4 > limit + 1e-9:
        return "broken", value
    if len(known) < 4:
        return ("cannot tell" if over else "not due"), value
    return word(low / 4, high / 4, limit), value


def evaluation_level(quarters: Sequence[Ends | None], limit: float) -> tuple[str, float | None]:
    """141.626(a): two quarters before and twice the current one, divided by four."""
    if any(q is None for q in quarters):
        return "cannot tell", None
    known = [q for q in quarters if q is not None]
    low, high = ((known[0][i] + known[1][i] + 2 * known[2][i]) / 4 for i in (0, 1))
    return word(low, high, limit), high


def percentile(values: Sequence[float], how: str) -> float:
    """141.80(c)(4): the sample at rank 0.9 n; of five the mean of the two highest, of fewer the highest."""
    ordered = sorted(values)
    n = len(ordered)
    if n < 5:
        return ordered[-1]
    if n == 5:
        return (ordered[3] + ordered[4]) / 2
    tenths = 9 * n
    if tenths % 10 == 0:
        return ordered[tenths // 10 - 1]
    if how == "nearest":
        return ordered[(tenths + 5) // 10 - 1]
    below = tenths // 10
    return ordered[below - 1] + (tenths % 10) / 10 * (ordered[below] - ordered[below - 1])


def required_removal(source: float, alkalinity: float) -> float:
    """141.135(b)(2): percent of organic carbon to be removed."""
    source = float(f"{source:.2g}")  # 141.2: to two significant figures
    row = 0 if source <= 4.0 else 1 if source <= 8.0 else 2
    column = 0 if alkalinity <= 60.0 else 1 if alkalinity <= 120.0 else 2
    return ((35.0, 25.0, 15.0), (45.0, 35.0, 25.0), (50.0, 40.0, 30.0))[row][column]


def carbon_ratio(source: float, treated: float, alkalinity: float) -> float:
    """141.135(c)(1), (2): actual over required removal of a month, at least 1.0 where there is little carbon."""
    if float(f"{source:.2g}") <= 2.0:
        return 1.0  # the table asks for nothing
    ratio = (1 - treated / source) * 100 / required_removal(source, alkalinity)
    return max(1.0, ratio) if treated < 2.0 - 1e-9 else ratio


def coliform(
    routine: Sequence[tuple[bool, bool | None]], repeats: Mapping[int, Sequence[tuple[bool, bool | None]]]
) -> tuple[str, str]:  # fmt: skip
    """141.859(a)(1) and 141.860(a), below 40 samples a month: words of the first assessment and of the E. coli limit.

    Each sample: whether coliform was found, and E. coli (None: not looked for). `repeats`: in time, by routine sample.
    """
    positive = sum(c for c, _ in routine) + sum(c for many in repeats.values() for c, _ in many)
    missed = any(c and len(repeats.get(i, ())) < 3 for i, (c, _) in enumerate(routine))
    level1 = "broken" if positive >= 2 or missed else "met"
    limit, open_question = False, False
    for i, (found, ecoli) in enumerate(routine):
        if not found:
            continue
        again = list(repeats.get(i, ()))
        limit |= any(c and e is True for c, e in again)  # (1) E. coli in a repeat of a routine sample with coliform
        limit |= bool(ecoli) and any(c for c, _ in again)  # (2) coliform in a repeat of one with E. coli
        limit |= bool(ecoli) and len(again) < 3  # (3) repeats of one with E. coli not all taken
        limit |= any(c and e is None for c, e in again)  # (4) a repeat with coliform not tested for E. coli
        open_question |= ecoli is None
    return level1, "broken" if limit else "cannot tell" if open_question else "met"


# --- contact time ------------------------------------------------------------------------------------------------


def giardia_3_log(temperature: float, ph: float, chlorine: float, between: bool = False) -> float | None:
    """CT for 3 log [mg min/L], 141.74(b)(3)(v): colder table, higher pH and row; or `between` in pH and temperature."""
    cells = {
        (float(r["temperature_c"]), float(r["ph"]), float(r["free_chlorine_mg_l"])): float(r["ct_mg_min_l"])
        for r in rows_of("ct_giardia_free_chlorine.csv")
    }
    temperatures, phs, rows = (sorted({key[i] for key in cells}) for i in range(3))
    if ph > phs[-1] + 1e-9:
        return None
    row = next((c for c in rows if chlorine <= c + 1e-9), rows[-1])

    def cell(t: float) -> float:
        high = next((p for p in phs if ph <= p + 1e-9), phs[-1])
        if not between or ph <= phs[0] or high == phs[0]:
            return cells[t, high, row]
        low = phs[phs.index(high) - 1]
        return cells[t, low, row] + (ph - low) / (high - low) * (cells[t, high, row] - cells[t, low, row])

    colder = max((t for t in temperatures if t <= temperature + 1e-9), default=temperatures[0])
    if not between or temperature <= temperatures[0] or colder == temperatures[-1]:
        return cell(colder)
    warmer = temperatures[temperatures.index(colder) + 1]
    return cell(colder) + (temperature - colder) / (warmer - colder) * (cell(warmer) - cell(colder))


def virus(temperature: float, ph: float, log: float) -> float | None:
    """CT for a log of viruses [mg min/L]: colder row, next log, pH 6 to 9 or else 10."""
    found = rows_of("ct_virus_free_chlorine.csv")
    temperatures = sorted({float(r["temperature_c"]) for r in found})
    if ph < 6.0 - 1e-9:
        return None
    colder = max((t for t in temperatures if t <= temperature + 1e-9), default=temperatures[0])
    for r in sorted(found, key=lambda r: float(r["log_inactivation"])):
        fits = float(r["log_inactivation"]) >= log - 1e-9 and ph <= float(r["ph_max"]) + 1e-9
        if fits and float(r["temperature_c"]) == colder:
            return float(r["ct_mg_min_l"])
    return None


def day_ratio(
    segments: Sequence[tuple[float, float]], temperature: float, ph: float, logs: Mapping[str, float]
) -> dict[str, float] | None:
    """Sum over segments (residual [mg/L], T10 [min]) of CT achieved over CT required, by organism."""
    total = dict.fromkeys(logs, 0.0)
    for residual, minutes in segments:
        achieved = min(residual, 3.0) * minutes
        three = giardia_3_log(temperature, ph, residual)
        for_virus = virus(temperature, ph, logs["virus"])
        if three is None or for_virus is None:
            return None
        total["giardia"] += achieved / (three * logs["giardia"] / 3)
        total["virus"] += achieved / for_virus
    return total


def of_quarters(months: Sequence[float]) -> float:
    """Return the mean of the means of four quarters."""
    return sum(sum(months[i : i + 3]) / 3 for i in (0, 3, 6, 9)) / 4
