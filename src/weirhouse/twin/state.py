"""How do the plant and its water stand at one moment, for every member?

`start` says what is known, `State` holds every number, `init` makes the one from the other. Nothing is kept elsewhere:
`step` of `reference` and the kernel take a state and give the next.
"""

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class State(NamedTuple):
    """M members; C cells, P pipes, K clarifiers, N feeds, F filters of J cells, T tanks with S cells in all."""

    cells: Floats  # (M, C, 9) what the water in each stirred cell carries
    pieces: Floats  # (M, P, 32, 10) plug flow: volume [m^3], then what it carries
    piece_first: Ints  # (M, P) place of the oldest piece
    piece_count: Ints  # (M, P)
    blanket: Floats  # (M, K) solids in the clarifier's blanket [g]
    since_blowdown: Floats  # (M, K) running time since the last one began [s]
    blowdown_left: Floats  # (M, K) volume still to let off [m^3]
    deposit: Floats  # (M, F, J) [g/m^3 of bed]
    lagged_rate: Floats  # (M, F) [m/s]
    box: Floats  # (M, F, 5) water over and in the bed
    mode: Ints  # (M, F)
    mode_time: Floats  # (M, F) [s]
    run_time: Floats  # (M, F) filtered since the wash [s]
    washed_at: Floats  # (M, F) when its last wash began [s since the start of the run]
    over_trigger: Floats  # (M, F) how long above its turbidity trigger [s]
    filtered: Floats  # (M, F) turbidity off it [NTU]
    head: Floats  # (M, F) head loss [m]
    tanks: Floats  # (M, T) [m^3]
    tank_chlorine: Floats  # (M, S, 2) fast and slow [g/m^3]
    tank_flow: Floats  # (M, T) flow out of it in the last step [m^3/s]
    feed_tank: Floats  # (M, N) solution in the day tank [m^3]
    dose: Floats  # (M, N) set, as it counts [g/m^3]
    flow: Floats  # (M,) of the plant [m^3/s]
    wanted: Ints  # (M,) 1 while the tank asks for water
    shut: Ints  # (M,) 1 while the intake is shut by turbidity
    chemistry: Floats  # (M, 5) alkalinity, temperature, pH and aluminium of the last pH, and that pH
    basin_out: Floats  # (M,) turbidity at the coagulant feed [NTU]
    came_in: Floats  # (M,) turbidity with which that water came in [NTU]
    quality: Floats  # (M,) of coagulation at the feed
    settled: Floats  # (M,) turbidity onto the filters [NTU]
    combined: Floats  # (M,) turbidity to the village's side [NTU]
    contact_chlorine: Floats  # (M,) leaving the first tank behind the filters [g/m^3]
    out_chlorine: Floats  # (M,) leaving the last tank [g/m^3]
    ledger: Floats  # (M, 28 + N) see layout.LEDGER
    time: Floats  # (M,) since the start of the run [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """What is known when a run begins; None where nobody knows, and a usual value is taken."""

    turbidity: float = 5.0  # of the raw water [NTU]
    temperature: float = 10.0  # [degC]
    alkalinity: float = 40.0  # as CaCO3 [g/m^3]
    ph: float = 7.3
    uv254: float | None = None  # [1/m]
    flow: float | None = None  # 0 when standing; None for the design flow [m^3/s]
    doses: tuple[float, ...] | None = None  # of every feed, as they count [g/m^3]
    head_loss: tuple[float, ...] | None = None  # of every filter at `rate` [m]
    run_time: tuple[float, ...] | None = None  # filtered since the wash, of every filter [s]
    rate: float | None = None  # rate at which the head losses were read [m/s]
    tank_levels: tuple[float, ...] | None = None  # share of full of every tank
    feed_levels: tuple[float, ...] | None = None  # share of full of every day tank
    chlorine: float = 1.0  # in the tanks [g/m^3]
    blanket_share: float = 0.2  # of the clarifier's depth
    out_of_service: tuple[bool, ...] = field(default=())
