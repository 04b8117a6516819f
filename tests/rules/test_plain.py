"""The same month once more in plain loops over the rows, by the definitions of docs/rules.md, for Emberly's terms.

It shares no code with the evaluation but the reading of the flow's hold; quarter hours are dictionaries, not arrays.
"""

from hypothesis import given
from tests.rules.planted import OURS, Planted
from tests.rules.test_properties import few, months

LIMIT = {"combined_turbidity": 0.3, "filter_1_turbidity": 1.0, "filter_2_turbidity": 1.0}
QUARTER, PERIOD, HOLD = 900, 14400, 2700


class Plain:
    """One planted month of quarter-hour rows, seen row by row."""

    def __init__(self, planted: Planted) -> None:
        self.p = planted
        self.a, self.b = int(planted.a.timestamp()), int(planted.b.timestamp())
        self.flow = {"": self._flow("plant_flow", 0.05 * planted.plant.design_flow)}  # type: ignore[operator]
        for n in (1, 2):
            self.flow[f"filter_{n}"] = self._flow(f"filter_{n}_flow", 0.025 * planted.plant.design_flow)  # type: ignore[operator]

    def _flow(self, channel: str, least: float) -> dict[int, bool]:
        """Quarter hour -> ran; not there: not on record. A row holds for three intervals."""
        found: dict[int, bool] = {}
        values, flags = self.p.values[channel], self.p.flags[channel]
        last: tuple[int, bool] | None = None
        for t, v, f in zip(self.p.times.tolist(), values.tolist(), flags.tolist(), strict=True):
            if v == v and f == 0:
                last = (t, v > least)
            if last is not None and t - last[0] < HOLD:
                found[t] = last[1]
        return found

    def quarter(self, channel: str, unit: str, with_bad: bool) -> dict[int, float | None]:
        """Quarter hour that asks for a value or has one -> its value, rounded half up to two decimals, or None."""
        low, high = self.p.plant.channels[channel].low, self.p.plant.channels[channel].high
        found: dict[int, float | None] = {}
        rows = zip(self.p.times.tolist(), self.p.values[channel].tolist(), self.p.flags[channel].tolist(), strict=True)
        for t, v, f in rows:
            ran = self.flow[unit].get(t)
            if t < self.a - QUARTER or ran is False:
                continue
            bad = f != 0 or v < (low or 0.0) or v > (high or 1e9)
            if v == v and (with_bad or not bad):
                found[t] = int(v * 100 + 0.5 + 1e-6) / 100
            else:
                found[t] = None  # asked for, or maybe asked for
        return found

    @staticmethod
    def unit(channel: str) -> str:
        return channel[:8] if channel.startswith("filter") else ""

    def share(self, with_bad: bool) -> str:
        quarters = self.quarter("combined_turbidity", "", with_bad)
        kept = over = unsure = asked = 0
        for day in range((self.b - self.a) // 86400):
            for k in range(6):
                begin = self.a + day * 86400 + k * PERIOD
                mine = [t for t in range(begin, begin + PERIOD, QUARTER) if t in quarters]
                ran = sum(self.flow[""].get(t) is True for t in mine)
                maybe = sum(t not in self.flow[""] for t in range(begin, begin + PERIOD, QUARTER))
                values = [t for t in mine if quarters[t] is not None]
                wanted = ran + maybe >= 1
                if not wanted and not values:
                    continue
                asked += 1
                if values:
                    kept += 1
                    over += (quarters[values[-1]] or 0.0) > 0.3 + 1e-9
                whole = bool(values) and not any(quarters[t] is None for t in mine if t > values[-1])
                above = bool(values) and (quarters[values[-1]] or 0.0) > 0.3 + 1e-9
                unsure += wanted and not whole and not above
        if not asked:
            return "not due"
        if kept and kept - over < 0.95 * kept - 1e-9:
            return "broken"
        return "met" if asked - over - unsure >= 0.95 * asked - 1e-9 else "cannot tell"

    def highest(self, with_bad: bool) -> str:
        values = [v for t, v in self.quarter("combined_turbidity", "", with_bad).items() if t >= self.a]
        if any(v is not None and v > 1.0 + 1e-9 for v in values):
            return "broken"
        return "cannot tell" if None in values else "met" if values else "not due"

    def pair(self, channel: str, with_bad: bool) -> str:
        quarters = self.quarter(channel, self.unit(channel), with_bad)
        certain = possible = False
        for t in range(self.a, self.b, QUARTER):
            two = [quarters.get(q, 0.0) for q in (t - QUARTER, t)]
            high = [v is not None and v > 1.0 + 1e-9 for v in two]
            certain |= all(high)
            possible |= all(h or v is None for h, v in zip(high, two, strict=True))
        return "broken" if certain else "cannot tell" if possible else "met"


def both(plain: str, with_bad: str) -> str:
    return plain if plain == with_bad else "cannot tell"


@few
@given(months())
def test_plain_loops_give_the_same(planted: Planted) -> None:
    planted.packs = OURS
    result = planted.judge()
    plain = Plain(planted)
    assert result.outcome("cfe_95_small").status == both(plain.share(False), plain.share(True))
    assert result.outcome("cfe_max_small").status == both(plain.highest(False), plain.highest(True))
    for n in (1, 2):
        channel = f"filter_{n}_turbidity"
        expected = both(plain.pair(channel, False), plain.pair(channel, True))
        found = result.outcome("ife_trigger_1ntu", f"filter_{n}").status
        assert found == expected or (found, expected) == ("not due", "met")  # a filter that never ran
