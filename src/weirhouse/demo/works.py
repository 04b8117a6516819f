"""What must be known of Emberly's plant to run it? The figures of its plant file that the demo's year follows."""

from dataclasses import dataclass
from math import pi
from typing import Any

import numpy as np

from weirhouse.demo.clock import Floats
from weirhouse.plant.model import Plant


@dataclass(frozen=True, slots=True, kw_only=True)
class Feeder:
    """A feed pump with its day tank."""

    gain: float  # what a cubic metre of the fed solution brings, on the basis of the dose [g/m^3]
    settings: tuple[float, ...]  # of the drawdown, as fractions of full speed
    rates: tuple[float, ...]  # that they gave [m^3/s]
    area: float  # of the day tank [m^2]
    full: float  # [m]
    low: float  # [m]
    table: tuple[tuple[float, float], ...] = ()  # turbidity [NTU], dose [g/m^3]

    def setting(self, dose: float, flow: float) -> float:
        """Return the dial that brings a dose [g/m^3] at a flow [m^3/s], in the half percents it can be set to."""
        wanted = float(np.interp(dose * flow / self.gain, self.rates, self.settings))
        return round(200 * wanted) / 200

    def dose(self, turbidity: float) -> float:
        """Return the dose of the table, between its rows on a straight line. [g/m^3]"""
        return float(np.interp(turbidity, [row[0] for row in self.table], [row[1] for row in self.table]))

    def doses(self, turbidity: Floats) -> Floats:
        """Return the dose of the table for many turbidities. [g/m^3]"""
        return np.interp(turbidity, [row[0] for row in self.table], [row[1] for row in self.table])


@dataclass(frozen=True, slots=True, kw_only=True)
class Works:
    """Emberly's plant in numbers, inside units."""

    usual_flow: float  # [m^3/s]
    basin: float  # [m^3]
    line: float  # [m^3]
    clarification: float  # flocculation and clarifier together [m^3]
    blowdown: float  # clarifier blowdown as a steady flow [m^3/s]
    filter_area: float  # of one filter [m^2]
    wash_rate: float  # [m/s]
    wash_time: float  # [s]
    waste_time: float  # filter to waste after a backwash [s]
    terminal: float  # head loss that ends a run [m]
    clearwell_area: float  # [m^2]
    clearwell_low: float  # level [m]
    clearwell_full: float  # level [m]
    main: float  # [m^3]
    tank_area: float  # of the tank on the hill [m^2]
    tank_low: float  # level [m]
    tank_full: float  # level [m]
    coagulant: Feeder
    chlorine: Feeder

    @property
    def wash_flow(self) -> float:
        """Flow of a backwash of one filter. [m^3/s]"""
        return self.wash_rate * self.filter_area

    @property
    def wash_volume(self) -> float:
        """Water that one backwash takes from the clearwell. [m^3]"""
        return self.wash_flow * self.wash_time


def of(plant: Plant) -> Works:
    """Return the demo's plant in numbers."""
    stage = plant.stage
    basin, line, clarifier, filters = stage("settling_basin"), stage("raw_line"), stage("clarifier"), stage("filters")
    clearwell, main, tank = stage("clearwell"), stage("main"), stage("hill_tank")
    flocculation = sum(part.volume * part.parallel for part in stage("flocculation").stages)
    wash, bed = filters.backwash, filters.filter[0]
    coagulant, chlorine = stage("coagulant"), stage("chlorine")
    assert plant.design_flow is not None
    return Works(
        usual_flow=plant.design_flow * 14 / 15,
        basin=basin.length * basin.width * basin.depth,
        line=_pipe(line.inside_diameter, line.length),
        clarification=flocculation + clarifier.area * clarifier.depth,
        blowdown=clarifier.blowdown.volume / clarifier.blowdown.every,
        filter_area=bed.length * bed.width,
        wash_rate=wash.rate,
        wash_time=wash.duration,
        waste_time=wash.filter_to_waste,
        terminal=filters.terminal_head_loss,
        clearwell_area=clearwell.area,
        clearwell_low=clearwell.low_level,
        clearwell_full=clearwell.full_level,
        main=_pipe(main.inside_diameter, main.length),
        tank_area=pi / 4 * tank.diameter**2,
        tank_low=tank.low_level,
        tank_full=tank.full_level,
        coagulant=_feeder(coagulant, coagulant.density * 1000),  # the dose counts the product as it comes
        # trade percent: grams of available chlorine in 100 mL of product, which the day tank holds thinned
        chlorine=_feeder(chlorine, chlorine.strength * 1e6 / chlorine.day_tank.dilution),
    )


def _pipe(diameter: float, length: float) -> float:
    return pi / 4 * diameter**2 * length


def _feeder(feed: Any, gain: float) -> Feeder:
    tank, points = feed.day_tank, feed.calibration.points
    return Feeder(
        gain=gain,
        settings=tuple(setting for setting, _ in points),
        rates=tuple(rate for _, rate in points),
        area=pi / 4 * tank.diameter**2,
        full=tank.full,
        low=tank.low,
        table=tuple(feed.dose_table),
    )
