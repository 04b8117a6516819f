"""Where does each number of the simulation stand? Places in the arrays and constants that no plant changes.

Both ways of stepping, the reference and the compiled kernel, read them from here alone.
"""

from typing import Final

# --- what a volume of water carries [g/m^3 unless said otherwise] ------------------------------------------------
# ahead of the coagulant: solids of six sizes; after it: fine coagulated, all coagulated, not coagulated, quality [-]
CLASSES: Final = 6
FINE: Final = 0
COAGULATED: Final = 1
UNCOAGULATED: Final = 2
QUALITY: Final = 3
FAST: Final = 6  # free chlorine that decays fast
SLOW: Final = 7  # free chlorine that decays slowly
CAME_IN: Final = 8  # turbidity with which the water came in [NTU]
CARRIED: Final = 9

# --- elements of the train ahead of the filters -----------------------------------------------------------------
CELLS: Final = 0  # stirred, nothing settles
BASIN: Final = 1  # stirred, size classes settle
PIPE: Final = 2  # plug flow
FEED: Final = 3
FLOCCULATION: Final = 4
CLARIFIER: Final = 5
TANK: Final = 6  # behind the filters: its level rises and falls

# --- feeds --------------------------------------------------------------------------------------------------------
OTHER: Final = 0
COAGULANT: Final = 1
DISINFECTANT: Final = 2

# --- a filter's mode ----------------------------------------------------------------------------------------------
FILTERING: Final = 0
WASHING: Final = 1
TO_WASTE: Final = 2

# --- the water over and in a filter's bed -------------------------------------------------------------------------
BOX_SOLIDS: Final = 0
BOX_QUALITY: Final = 1
BOX_REMNANT: Final = 2  # what the wash left [g/m^3]
BOX_FAST: Final = 3
BOX_SLOW: Final = 4
BOX: Final = 5

# --- pieces of a plug flow ----------------------------------------------------------------------------------------
PIECES: Final = 32  # room in a pipe's ring, a power of 2
LEAST_SHARE: Final = 1 / 24  # a piece is filled up to this share of the pipe before the next one is begun

# --- the ledger: what has gone where since the run began ---------------------------------------------------------
LEDGER: Final = (
    "intake_m3", "blowdown_m3", "to_waste_m3", "wash_m3", "delivered_m3", "spilled_m3", "short_m3", "own_wash_m3",
    "solids_in_g", "hydroxide_g", "basin_g", "clarifier_g", "blowdown_g", "wash_g", "to_waste_g", "filtered_g",
    "chlorine_in_g", "chlorine_decayed_g", "chlorine_delivered_g", "chlorine_wasted_g",
    "washes", "minutes_over_0_3", "minutes_over_1", "minutes_below_reserve", "minutes_running", "sewer_peak_m3_s",
    "minutes_dry_feed", "filters_in_g",
)  # fmt: skip
(
    L_INTAKE, L_BLOWDOWN, L_TO_WASTE, L_WASH, L_DELIVERED, L_SPILLED, L_SHORT, L_OWN_WASH,
    L_SOLIDS_IN, L_HYDROXIDE, L_BASIN, L_CLARIFIER, L_BLOWDOWN_G, L_WASH_G, L_TO_WASTE_G, L_FILTERED_G,
    L_CL_IN, L_CL_DECAYED, L_CL_DELIVERED, L_CL_WASTED,
    L_WASHES, L_OVER_03, L_OVER_1, L_RESERVE, L_RUNNING, L_SEWER_PEAK,
    L_DRY_FEED, L_FILTERS_IN,
) = range(28)  # fmt: skip
L_PRODUCT: Final = len(LEDGER)  # from here on: solution drawn from the day tank of each feed [m^3]

# --- constants of the models (marks: m = from memory, d = worked out; docs/simulation.md) -------------------------
DIAMETERS: Final = (1e-6, 3e-6, 8e-6, 20e-6, 45e-6, 90e-6)  # of the six sizes [m]
STORM_SHARES: Final = (0.15, 0.20, 0.25, 0.20, 0.12, 0.08)  # by weight (m)
SCATTER_EXPONENT: Final = 0.8  # turbidity for each mass falls with diameter to this power (m)
GRAIN_DENSITY: Final = 2650.0  # [kg/m^3]
HYDROXIDE_PER_AL: Final = 4.89  # solids made by 1 g of aluminium, bound water included [g/g] (m)
ACTIVATION: Final = 7500.0  # of chlorine decay, over the gas constant [K] (m)
IONIC_STRENGTH: Final = 2.0  # [mol/m^3]
GT_FULL_GROWN: Final = 40000.0  # G·t that makes full-grown floc [-] (m)
GT_WITHOUT: Final = 0.3  # share of it where the train has no flocculation
LEAST_QUALITY: Final = 1e-6
LEAST_DOSE: Final = 1e-9  # [g/m^3]
BLANKET_SHARE: Final = 0.15  # of a blanket's volume that is floc [-] (m)
BLANKET_SOLIDS: Final = 2000.0  # dry solids in a blanket [g/m^3] (m)
SLUDGE_SOLIDS: Final = 15000.0  # dry solids in the sludge let off under a deep blanket [g/m^3] (m)
SLUDGE_HALF: Final = 0.5  # depth of blanket at which the sludge let off has half of that [m] (m)
LOST_FROM: Final = 0.7  # rise over median floc velocity from which a blanket is lost (m)
LOST_OVER: Final = 0.3  # and the span over which it goes
BLOWDOWN_LASTS: Final = 300.0  # [s]
REFERENCE_RATE: Final = 5 / 3600  # of the filter coefficients [m/s]
BLOCKING_EXPONENT: Final = 0.5  # (m)
RATE_LAG: Final = 900.0  # tau_a [s] (m)
LEAST_LAGGED: Final = 0.5 * REFERENCE_RATE  # a filter at rest is shaken as if it had run at this rate [m/s]
SCOUR: Final = 1 / 60  # k_w once fluidised [1/s] (m)
SCOUR_SPAN: Final = 0.2  # scour is full at 1.2 times the least fluidising rate
WORSE_HEAD: Final = 1.5  # deposit resistance rises by this times (1 - quality) (m)
LEAST_BOX: Final = 0.15  # [m]
TRANSFER_LAG: Final = 1800.0  # with which a clearwell is brought back to its level [s]
OVER_TRIGGER: Final = 900.0  # a turbidity must stay above its trigger so long before it asks for a wash [s]
LONGEST_TO_WASTE: Final = 3600.0  # [s]
