"""Where does each field of state, plant, rules and parameters stand in the flat arrays of the kernel?

The kernel takes one row of numbers for each member; docs/decisions/kernel-and-reference.md says why. `offsets` holds,
for each name here, the place at which the field begins; parameters stand at fixed places.
"""

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin.compile import Train
from weirhouse.twin.parameters import Parameters
from weirhouse.twin.policy import Policy
from weirhouse.twin.state import State

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# state, one row for each member
(
    S_CELLS, S_PIECES, S_PIECE_FIRST, S_PIECE_COUNT, S_BLANKET, S_SINCE_BLOWDOWN, S_BLOWDOWN_LEFT, S_DEPOSIT,
    S_LAGGED_RATE, S_BOX, S_MODE, S_MODE_TIME, S_RUN_TIME, S_WASHED_AT, S_OVER_TRIGGER, S_FILTERED, S_HEAD,
    S_TANKS, S_TANK_CHLORINE, S_TANK_FLOW, S_FEED_TANK, S_DOSE, S_FLOW, S_WANTED, S_SHUT, S_CHEMISTRY,
    S_BASIN_OUT, S_CAME_IN, S_QUALITY, S_SETTLED, S_COMBINED, S_CONTACT_CHLORINE, S_OUT_CHLORINE, S_LEDGER,
    S_TIME,
) = range(35)  # fmt: skip
# the plant
(
    T_KIND, T_FIRST, T_NUMBER, T_CLARIFIER, T_COAGULATED, T_CHLORINATED, T_CELL_VOLUME, T_CELL_AREA, T_CELL_HEAD,
    T_CELL_HEAD_FLOW, T_CELL_POWER, T_CELL_BASIN, T_CLARIFIER_AREA, T_CLARIFIER_DEPTH, T_BLOWDOWN_VOLUME,
    T_BLOWDOWN_EVERY, T_PIPE_VOLUME, T_FEED_ROLE, T_FEED_ALUMINIUM, T_FEED_CONTENT, T_FEED_FULL, T_FEED_LOW,
    T_FEED_BASICITY, T_LEAST_ALUMINIUM_PH, T_HAS_FLOCCULATION, T_FILTER_AREA, T_FILTER_BOX, T_FILTER_PORE,
    T_FILTER_RESISTANCE, T_FILTER_TURBULENT, T_WASH_RATE, T_LAYER_CELLS, T_DEPTH, T_COEFFICIENT, T_FULL_DEPOSIT,
    T_GRAIN_90, T_GRAIN_DENSITY, T_AFTER_KIND, T_AFTER_INDEX, T_TANK_FULL, T_TANK_AREA, T_TANK_KEEP,
    T_TANK_RESERVE, T_TANK_FIRST, T_TANK_CELLS, T_WASH_SOURCE, T_DESIGN_FLOW,
) = range(35, 82)  # fmt: skip
# the rules
(
    R_FLOW, R_START_BELOW, R_STOP_ABOVE, R_MAX_RATE, R_RAMP, R_SHUT_ABOVE, R_REOPEN_BELOW, R_THROTTLE_ABOVE,
    R_THROTTLE_TO, R_TABLE_TURBIDITY, R_TABLE_DOSE, R_DOSE_FACTOR, R_DOSE_EVERY, R_DOSE_BY_RAW, R_OTHER_DOSES,
    R_WASH_HEAD, R_WASH_TURBIDITY, R_WASH_TIME, R_WASH_FROM, R_WASH_UNTIL, R_WASH_DURATION, R_TO_WASTE,
    R_TO_WASTE_UNTIL, R_START_TO_WASTE, R_BLOWDOWN_AT, R_REFILL_BELOW, R_REFILL_FROM, R_REFILL_UNTIL,
    R_BLOCK_START, R_BLOCK_FLOW, R_BLOCK_DOSE, R_WASH_AT, R_WASH_FILTER, R_FEED_STOPS, R_OUT_OF_SERVICE,
) = range(82, 117)  # fmt: skip
# how many there are
(
    N_ELEMENTS, N_FILTERS, N_FEEDS, N_TANKS, N_LAYERS, N_AFTER, N_TABLE, N_BLOCKS, N_WASHES, N_CELLS,
    X_MEMO, X_FEEDING, X_REFILL, X_INVERSE, N_ALL,
) = range(117, 132)  # fmt: skip
# parameters; the six shares stand last
(
    P_RAW_SOLIDS, P_SETTLING_SCALE, P_DEAD_ZONE, P_DOSE_CONSTANT, P_DOSE_TURBIDITY, P_DOSE_UV254,
    P_DOSE_TEMPERATURE, P_DOSE_ALKALINITY, P_UNDERDOSE_WIDTH, P_OVERDOSE_WIDTH, P_UNCOAGULATED_LEAST,
    P_UNCOAGULATED_MORE, P_AGGREGATION, P_BREAKUP_RATIO, P_FLOC_VELOCITY, P_FLOC_SPREAD, P_BLANKET_CAPTURE,
    P_PASSING, P_FLOC_SOLIDS, P_COEFFICIENT_SCALE, P_LEAST_RIPE, P_RIPENING_DEPOSIT, P_FULL_SCALE, P_DETACHMENT,
    P_SHAKING, P_DEPOSIT_RESISTANCE, P_RESISTANCE_SCALE, P_FILTERED_FLOOR, P_WASH_REMNANT, P_CHLORINE_DEMAND,
    P_FAST_SHARE, P_FAST_RATE, P_SLOW_RATE, P_CLASS_SHARES,
) = range(34)  # fmt: skip

# a member's row begins with its parameters; then come
FOUND = 40  # properties of its water
W = 58  # what the water in hand carries
BRIGHTNESS = 67  # turbidity of one unit of solids of each size
FRONT = 73  # and from here on state, plant, rules and what is remembered
MEMO = 21  # numbers that a cell or a filter remembers


def flat(group: Iterable[Any]) -> tuple[Floats, list[int]]:
    """Return the numbers of a group one after another, and where each field begins."""
    values = [np.asarray(value, dtype=np.float64).ravel() for value in group]
    return np.concatenate(values), _begins([value.size for value in values])


def offsets(train: Train, policy: Policy, state: State) -> Ints:
    """Return where each field begins in a member's row, how many elements, filters, ... there are, and its length."""
    members, width = len(state.flow), rows(state).shape[1]
    sizes = [
        len(train.kind), len(train.filter_area), len(train.feed_role), len(train.tank_full), train.depth.shape[1],
        len(train.after_kind), len(policy.table_dose), len(policy.block_start), len(policy.wash_at),
        len(train.cell_volume),
    ]  # fmt: skip
    plant, in_plant = flat(train)
    rules, in_rules = flat(policy)
    memo = FRONT + width + plant.size + rules.size
    feeding = memo + MEMO * (len(train.cell_volume) + len(train.filter_area))
    feeds = len(train.feed_role)
    inverse = feeding + 2 * feeds
    places = [FRONT + begin for begin in _begins([value.size // members for value in state])]
    places += [FRONT + width + begin for begin in in_plant]
    places += [FRONT + width + plant.size + begin for begin in in_rules]
    return np.array(
        places + sizes + [memo, feeding, feeding + feeds, inverse, inverse + 2 * train.depth.size], dtype=np.int64
    )


def _begins(sizes: list[int]) -> list[int]:
    return [0, *np.cumsum(sizes)[:-1].tolist()]


def rows(state: State) -> Floats:
    """Return one row of numbers for each member."""
    members = len(state.flow)
    return np.ascontiguousarray(
        np.concatenate([np.asarray(value, dtype=np.float64).reshape(members, -1) for value in state], axis=1)
    )


def state_of(packed: Floats, like: State) -> State:
    """Return the state whose rows `packed` holds, in the shapes of `like`."""
    made, place = [], 0
    members = len(packed)
    for value in like:
        width = value.size // members
        made.append(packed[:, place : place + width].reshape(value.shape).astype(value.dtype))
        place += width
    return State._make(made)


def parameter_rows(p: Parameters) -> Floats:
    """Return one row of parameters for each member, the six shares last."""
    single = [value for name, value in zip(p._fields, p, strict=True) if name != "class_shares"]
    return np.ascontiguousarray(np.column_stack([*single, p.class_shares]))
