"""How does water come through the plant, and what does the operator do with it? The year in quarter-hours.

A balance of water with simple laws for the rest, written for the demo alone: stirred compartments, settling and
chlorine demand of the first order, head loss that grows with what the bed has caught. A row holds what is so at its
stamp; its flows last until the next.
"""

from dataclasses import dataclass, field
from math import exp, log

import numpy as np

from weirhouse.demo import scenario
from weirhouse.demo.clock import QUARTER, Clock, Floats, red_noise
from weirhouse.demo.creek import Creek
from weirhouse.demo.habits import FOOT, Day, days, intake_shut
from weirhouse.demo.works import Works

HOUR = 3600.0
COLUMNS = (
    "flow", "at_feed", "settled", "coagulant_dose", "coagulant_setting", "chlorine_dose", "chlorine_setting",
    "flow_1", "flow_2", "loss_1", "loss_2", "turbidity_1", "turbidity_2", "combined", "contact_chlorine",
    "entry_chlorine", "contact_level", "storage_level", "wash_flow", "screen", "waste",
)  # fmt: skip
FULL_STOP = 22.3 * FOOT  # the float switch stops the plant
WASH_AT = 5.0 * FOOT  # the operator does not let a filter go into another day above this


@dataclass(frozen=True, slots=True, kw_only=True)
class Deed:
    """Something done or met, at a quarter-hour or minutes from it. [UTC epoch s]"""

    kind: str
    at: int
    until: int | None = None
    subject: str = ""
    values: dict[str, float] = field(default_factory=dict)
    note: str = ""


@dataclass(slots=True)
class Filter:
    """One filter as its run goes on."""

    load: float  # head loss caught in the bed, at the usual rate [m]
    growth: float  # how fast this run catches it [m per NTU m^3]
    hours: float  # of filtering
    ripening: float  # turbidity above its own, fading [NTU]
    washed: int = -9  # index of its last backwash
    runs_from: int = 0  # index at which its run began


@dataclass(frozen=True, slots=True)
class Course:
    """The plant's year: columns by quarter-hour, what was done, and the indices at which rounds were walked."""

    columns: dict[str, Floats]
    deeds: tuple[Deed, ...]
    rounds: tuple[int, ...]
    shut: tuple[tuple[int, int], ...]


class Train:
    """The plant as it runs through the year."""

    def __init__(self, works: Works, clock: Clock, creek: Creek, demand: Floats, rng: np.random.Generator) -> None:
        n = len(clock.times)
        self.works, self.rng, self.n = works, rng, n
        self.out = {name: np.zeros(n) for name in COLUMNS}
        self.times: list[int] = clock.times.tolist()
        self.hour: list[float] = clock.hour.tolist()
        self.day: list[int] = (clock.wall // 86400).tolist()
        self.raw: list[float] = creek.turbidity.tolist()
        self.by_table: list[float] = works.coagulant.doses(creek.turbidity).tolist()
        self.carbon: list[float] = creek.organic_carbon.tolist()
        self.warmth: list[float] = creek.temperature.tolist()
        self.demand: list[float] = demand.tolist()
        self.pump: list[float] = (1 + 0.006 * red_noise(rng, n, 0.25, 4) + 0.002 * rng.standard_normal(n)).tolist()
        self.wander: list[float] = (0.25 * FOOT * red_noise(rng, n, 0.25, 8)).tolist()
        self.floc: list[float] = np.exp(0.14 * red_noise(rng, n, 0.25, 20)).tolist()
        self.mood: list[float] = red_noise(rng, n, 0.25, 30).tolist()
        self.days: dict[int, Day] = days(clock, rng)
        self.shut = intake_shut(clock, creek)
        self.closed, self.barred = [False] * n, [False] * n
        for a, b in self.shut:
            self.closed[a:b] = self.barred[a:b] = [True] * (b - a)
        blinded = scenario.SCREEN_BLINDED.seconds
        for start, end in (
            scenario.POWER_FAILURE.seconds,
            scenario.PUMP_FAILED.seconds,
            (blinded[1] - 1200, blinded[1]),
        ):
            a, b = np.searchsorted(clock.times, (start, end)).tolist()
            self.barred[a:b] = [True] * (b - a)
        self.blinded, self.foretold = blinded, scenario.FORETOLD.seconds
        self.last_wash = [int(scenario.LAST_WASH[k].timestamp()) for k in (1, 2)]
        self.final_stop = int(scenario.FINAL_STOP.timestamp())
        self.deeds: list[Deed] = []
        self.rounds: list[int] = []
        self.basin, self.clear = [2.5] * 4, [0.6] * 3
        self.came = [3.0] * 4  # turbidity with which the water in the basin came in [NTU]
        self.filters = [Filter(0.5, 0.005, 12, 0.0), Filter(1.0, 0.005, 26, 0.0)]
        self.clearwell, self.hill = 8.6 * FOOT * works.clearwell_area, 18.0 * FOOT * works.tank_area
        self.chlorine = self.entry = 1.15
        self.running, self.resume, self.started_today, self.run_hours = False, False, -1, 9.0
        self.dose, self.chlorine_dose = 13.0, 1.9
        self.coagulant_setting = self.chlorine_setting = 0.0
        self.pumps_for = (0.0, 0.0, 0.0)
        self.set_flow = works.usual_flow
        self.shock = 0.0  # turbidity above the filters' own after a hard start, fading [NTU]
        self.standing_turbidity = [0.045, 0.045, 0.045]
        self.idle_since = 0

    def course(self) -> Course:
        """Run the year."""
        for i in range(self.n):
            self._operate(i)
            q = self._take(i)
            self._clarify(i, q)
            made = self._filter(i, q)
            self._keep(i, q, made)
        self._late_in_its_run()
        return Course(self.out, tuple(self.deeds), tuple(self.rounds), tuple(self.shut))

    # --- the operator

    def _operate(self, i: int) -> None:
        t, hour, today = self.times[i], self.hour[i], self.days[self.day[i]]
        level = self.hill / self.works.tank_area
        barred = self.barred[i]
        foretold = self.foretold[0] <= t < self.foretold[1]
        if self.running:
            late = (hour >= 22 or hour < 5) and not foretold
            enough = level >= FULL_STOP or (late and level > 20 * FOOT)
            if barred or enough or t == self.final_stop:
                self.resume = barred and not enough and not self.closed[i]
                self._stop(i, self._why_stop(i, barred, level))
        elif not barred:
            first = self.started_today != self.day[i] and today.comes <= hour < 16
            again = 7 <= hour < 20.5 and level < 19 * FOOT and t < self.final_stop
            again = again or (foretold and level < 21.5 * FOOT)
            opened = any(i == b for _, b in self.shut)
            if (first and level < 21 * FOOT) or (again and self.started_today == self.day[i]) or self.resume or opened:
                self._start(i)
        if any(hour <= r < hour + 0.25 for r in today.rounds):
            self.rounds.append(i)
        if self.running:
            self._set_flow(i)
            self._set_doses(i, today)
            self._wash(i)

    def _why_stop(self, i: int, barred: bool, level: float) -> str:
        t = self.times[i]
        if self.closed[i]:
            return "intake shut"
        if barred:
            named = {
                scenario.POWER_FAILURE: "power failed", scenario.PUMP_FAILED: "pump 1 tripped",
                scenario.SCREEN_BLINDED: "stopped to clear the screen",
            }  # fmt: skip
            return next((why for span, why in named.items() if span.seconds[0] - QUARTER <= t < span.seconds[1]), "")
        return "tank full, float switch" if level >= FULL_STOP else "end of the day"

    def _start(self, i: int) -> None:
        self.running, self.resume, self.run_hours = True, False, 0.0
        self.started_today = self.day[i]
        hard = scenario.POWER_FAILURE.seconds[1] <= self.times[i] < scenario.POWER_FAILURE.seconds[1] + 3600
        self.shock = 0.21 if hard else float(self.rng.uniform(0.015, 0.05))
        self.deeds.append(Deed(kind="start", at=self.times[i], note="after the power failure" if hard else ""))

    def _stop(self, i: int, why: str) -> None:
        self.running = False
        self.deeds.append(Deed(kind="stop", at=self.times[i], note=why))

    def _set_flow(self, i: int) -> None:
        gpm = self.works.usual_flow / 140
        wanted = 110 * gpm if self.raw[i] > 60 else 145 * gpm if self.warmth[i] > 18 else 140 * gpm
        if self.run_hours == 0 or abs(wanted / self.set_flow - 1) > 0.15:
            if self.run_hours > 0:
                self._reset_pumps(wanted)
            self.set_flow = wanted

    def _set_doses(self, i: int, today: Day) -> None:
        on_round = bool(self.rounds) and self.rounds[-1] == i
        here = 6.5 <= self.hour[i] < 22
        feel = 0.018 if not today.relief else 0.05
        # he knows that the basin holds the water of hours ago, and goes between the two
        wanted = self.by_table[i] ** 0.4 * self.works.coagulant.dose(self.came[3]) ** 0.6
        wanted = round(2 * wanted * exp(feel * self.mood[i])) / 2
        band = (0.05 if on_round else 0.12) * (1.6 if today.relief else 1)
        if self.run_hours == 0 or (here and abs(log(wanted / self.dose)) > band):
            self._change("coagulant", i, self.dose, wanted)
            self.dose = wanted
        error = 1.22 - self.chlorine
        if on_round and self.run_hours > 2.5 and abs(error) > 0.1:
            better = round(20 * min(2.4, max(1.3, self.chlorine_dose + 0.7 * error))) / 20
            self._change("chlorine", i, self.chlorine_dose, better)
            self.chlorine_dose = better
        if (self.dose, self.chlorine_dose, self.set_flow) != self.pumps_for:
            self._reset_pumps(self.set_flow)

    def _reset_pumps(self, flow: float) -> None:
        self.pumps_for = (self.dose, self.chlorine_dose, flow)
        self.coagulant_setting = self.works.coagulant.setting(self.dose, flow)
        self.chlorine_setting = self.works.chlorine.setting(self.chlorine_dose, flow)

    def _change(self, feed: str, i: int, old: float, new: float) -> None:
        if old != new:
            self.deeds.append(Deed(kind="dose_change", at=self.times[i], subject=feed, values={"from": old, "to": new}))

    def _wash(self, i: int) -> None:
        """Backwash a filter that would not last into tomorrow; the last ones of the year are in the scenario."""
        t = self.times[i]
        for k, one in enumerate(self.filters):
            last = self.last_wash[k]
            if t == last:
                return self._washed(i, k)
            if t > last - 30 * 3600:
                continue
            loss = one.load + self._clean_loss(i, 1.0)
            pressing = loss > 5.8 * FOOT
            before_last = t > last - 56 * 3600  # the next one is planned: let it last until then
            due = loss > (0.5 * WASH_AT if before_last else WASH_AT) or one.hours > 46
            other = self.filters[1 - k]
            if self.run_hours < 1.0 or i - other.washed < (6 if pressing or before_last else 60):
                continue
            if (pressing and (6.5 < self.hour[i] < 21 or loss > 6.3 * FOOT)) or (
                due and 9.0 <= self.hour[i] < 14.5 and self.raw[i] < 70
            ):
                return self._washed(i, k)
        return None

    def _washed(self, i: int, k: int) -> None:
        one, works, t = self.filters[k], self.works, self.times[i]
        start = t - 3 * 60
        values = {
            "volume": works.wash_volume, "rate": works.wash_rate,
            "start_head_loss": round(one.load + self._clean_loss(i, 1.0), 3),
            "turbidity_end": round(float(self.rng.uniform(6, 11)), 1),
        }  # fmt: skip
        end = start + 4 * 60 + round(works.wash_time)
        self.deeds.append(Deed(kind="backwash", at=start, until=end, subject=f"filter_{k + 1}", values=values))
        begin = end + 120
        self.deeds.append(
            Deed(kind="filter_to_waste", at=begin, until=begin + round(works.waste_time), subject=f"filter_{k + 1}")
        )
        self.filters[k] = Filter(0.0, 0.005 * exp(0.12 * float(self.rng.standard_normal())), 0.0, 0.2, i, i)

    # --- the water

    def _take(self, i: int) -> float:
        """Return the flow taken from the creek. [m^3/s]"""
        t = self.times[i]
        a, b = self.blinded
        blinded = min(1.0, max(0.0, (t - a) / (b - a - 1200))) ** 2 if a <= t < b else 0.0
        q = self.set_flow * self.pump[i] * (1 - 0.36 * blinded) if self.running else 0.0
        if self.running and any(f.washed == i for f in self.filters):
            q *= 0.5  # one filter alone
        share = (q / self.works.usual_flow) ** 2
        self.out["screen"][i] = share * (0.11 + 0.0004 * self.raw[i] + 0.95 * blinded) * FOOT
        self.out["flow"][i] = q
        return q

    def _clarify(self, i: int, q: float) -> None:
        works, cells, clear = self.works, self.basin, self.clear
        # what settles by itself, and what stays afloat for days
        for k in range(4):
            moved = 1 - exp(-q * QUARTER / (works.basin / 4))
            cells[k] += moved * ((cells[k - 1] if k else self.raw[i]) - cells[k])
            self.came[k] += moved * ((self.came[k - 1] if k else self.raw[i]) - self.came[k])
            rest = min(cells[k], 1.1)
            cells[k] = rest + (cells[k] - rest) * exp(-0.09 * QUARTER / HOUR)
        at_feed = cells[3]
        self.out["at_feed"][i], self.out["settled"][i] = at_feed, clear[2]
        if q > 0:
            miss = log(self.dose / works.coagulant.dose(self.came[3]))  # the table is for water as it comes
            cold = min(1.0, max(0.0, (9 - self.warmth[i]) / 9))
            left = (0.38 + 0.055 * at_feed**0.72) * (1 + 0.3 * cold) * exp(2.2 * miss * miss + max(0.0, -1.6 * miss))
            left *= self.floc[i] * (q / works.usual_flow) ** 0.6
            moved = 1 - exp(-q * QUARTER / (works.clarification / 3))
            for k in (2, 1):
                clear[k] += moved * (clear[k - 1] - clear[k])
            clear[0] += moved * (left - clear[0])
        else:
            clear[:] = [0.35 + (c - 0.35) * 0.993 for c in clear]
        self.out["coagulant_dose"][i], self.out["coagulant_setting"][i] = self.dose, self.coagulant_setting
        self.out["chlorine_dose"][i], self.out["chlorine_setting"][i] = self.chlorine_dose, self.chlorine_setting

    def _clean_loss(self, i: int, share: float) -> float:
        """Return the head loss of a clean filter at a share of its usual rate; cold water is thicker. [m]"""
        thick = exp(-0.026 * (self.warmth[i] - 20))
        return 0.14 * thick * share + 0.10 * share * share

    def _filter(self, i: int, q: float) -> float:
        """Return the filtered water that reaches the clearwell. [m^3/s]"""
        usual, settled = self.works.usual_flow / 2, self.clear[2]
        made = dirt = waste_all = 0.0
        flows = [0.0 if f.washed == i else q for f in self.filters]
        total = sum(flows)
        for k, (one, part) in enumerate(zip(self.filters, flows, strict=True)):
            flow = q * part / total if total > 0 else 0.0
            name = str(k + 1)
            if flow > 0:
                share = flow / usual
                loss = self._clean_loss(i, share) + one.load * share
                own = 0.030 + 0.004 * k + 0.012 * settled**0.9 * share**0.7 + breaking_through(loss)
                seen = own + one.ripening + self.shock
                waste = flow * min(1.0, max(0.0, self.works.waste_time - QUARTER * (i - one.washed - 1)) / QUARTER)
                waste = waste if 0 < i - one.washed <= 2 else 0.0
                into = flow - waste
                made, dirt, waste_all = made + into, dirt + into * seen, waste_all + waste
                one.load += one.growth * settled * flow * QUARTER
                one.hours += QUARTER / HOUR
                one.ripening *= exp(-QUARTER / HOUR / 0.32)
                self.standing_turbidity[k] = seen
            else:
                loss = 0.0
                seen = self.standing_turbidity[k] = 0.035 + (self.standing_turbidity[k] - 0.035) * 0.985
            self.out["flow_" + name][i], self.out["loss_" + name][i], self.out["turbidity_" + name][i] = (
                flow,
                loss,
                seen,
            )
        if made > 0:
            self.standing_turbidity[2] = dirt / made
        else:
            self.standing_turbidity[2] = 0.035 + (self.standing_turbidity[2] - 0.035) * 0.985
        self.out["combined"][i], self.out["waste"][i] = self.standing_turbidity[2], waste_all
        self.shock *= exp(-QUARTER / HOUR / 0.3)
        if q > 0:
            self.run_hours += QUARTER / HOUR
        return max(0.0, made - self.works.blowdown * (q > 0))

    def _keep(self, i: int, q: float, made: float) -> None:
        """Let the clearwell and the tank on the hill fill and empty, and the chlorine fade."""
        works, warmth, out = self.works, self.warmth[i], self.out
        level, height = self.clearwell / works.clearwell_area, self.hill / works.tank_area
        out["contact_level"][i], out["storage_level"][i] = level, height
        out["contact_chlorine"][i], out["entry_chlorine"][i] = self.chlorine, self.entry
        wash = works.wash_flow if any(f.washed == i for f in self.filters) else 0.0
        out["wash_flow"][i] = wash
        taken = works.wash_volume if wash else 0.0
        sent = 0.0
        if q > 0:  # the high-service pump follows the clearwell's level
            over = self.clearwell - (8.7 * FOOT + self.wander[i]) * works.clearwell_area
            sent = min(1.15 * works.usual_flow, max(0.0, made + over / (3 * HOUR)))
        fade = 0.009 * 1.075 ** (warmth - 10)  # of the first order [1/h]
        into = max(0.1, self.chlorine_dose - 0.30 - 0.016 * warmth - 0.13 * max(0.0, self.carbon[i] - 1.6))
        self.chlorine += (1 - exp(-made * QUARTER / self.clearwell)) * (into - self.chlorine)
        self.chlorine *= exp(-fade * QUARTER / HOUR)
        self.entry += (1 - exp(-sent * QUARTER / works.main)) * (self.chlorine - self.entry)
        self.entry *= exp(-1.4 * fade * QUARTER / HOUR)
        self.clearwell += (made - sent) * QUARTER - taken
        self.hill = min(works.tank_full * works.tank_area, self.hill + (sent - self.demand[i]) * QUARTER)

    def _late_in_its_run(self) -> None:
        """Let filter 2 stand three hours before its terminal head loss as the year ends."""
        begin, loss = self.filters[1].runs_from, self.out["loss_2"]
        usual = self.works.usual_flow / 2
        share = self.out["flow_2"][begin:] / usual
        clean = np.array([self._clean_loss(begin + k, s) for k, s in enumerate(share.tolist())])
        caught = np.where(share > 0, loss[begin:] - clean, 0.0)
        scale = (self.works.terminal - 0.45 * FOOT - clean[-1]) / caught[-1]
        before = loss[begin:].copy()
        loss[begin:] = np.where(share > 0, clean + scale * caught, 0.0)
        for i, (old, new) in enumerate(zip(before.tolist(), loss[begin:].tolist(), strict=True), begin):
            change = breaking_through(new) - breaking_through(old)
            self.out["turbidity_2"][i] += change
            self.out["combined"][i] += 0.5 * change


def breaking_through(loss: float) -> float:
    """Return the turbidity that a bed lets pass as its head loss [m] nears the end of its run. [NTU]"""
    return 0.012 * max(0.0, loss / FOOT - 5.5) ** 2
