"""How much solid matter does the plant take out and make, and what volume of sludge is it?"""

from typing import Annotated

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Area,
    Concentration,
    Density,
    Dose,
    Flow,
    Fraction,
    GrainDensity,
    Length,
    Mass,
    MassRate,
    Ratio,
    SolidsPerTurbidity,
    Turbidity,
    Volume,
)
from weirhouse.working import Range, worked

Yield = Annotated[Ratio, Range(0.1, 5.0)]
_SOURCE = "definition; common practice, no source"
_PER_NTU = "0.7 to 2.2 mg/L per NTU, often 1 to 2 (memory); measure ten pairs across a storm"


@worked("Suspended solids from turbidity", expression="turbidity * solids_per_ntu", reference=_PER_NTU)
def suspended_solids(turbidity: Turbidity, solids_per_ntu: SolidsPerTurbidity) -> Concentration:
    """Return the suspended solids that a turbidity stands for.

    Parameters
    ----------
    turbidity : turbidity. [NTU]
    solids_per_ntu : solids of one turbidity unit, measured for this water. [g/(m^3*NTU)]

    Returns
    -------
    Suspended solids. [g/m^3]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> suspended_solids(20.0, 1.5)
    30.0

    References
    ----------
    Plant practice, from memory.
    """
    checks.at_least(turbidity, 0.0, "turbidity", "NTU")
    checks.at_least(solids_per_ntu, 0.0, "solids_per_ntu", "g/(m^3*NTU)")
    return turbidity * solids_per_ntu


@worked(
    "Suspended solids of a lowland stream",
    expression="turbidity**1.32",
    reference="J. J. Packman, K. J. Comings, D. B. Booth 1999, nine streams of the Puget lowlands, R2 0.96",
)
def stream_suspended_solids(turbidity: Annotated[Turbidity, Range(1.0, 1000.0)]) -> Concentration:
    """Return the suspended solids of stream water by a regression from nine lowland streams; yours will differ.

    Parameters
    ----------
    turbidity : turbidity. [NTU]

    Returns
    -------
    Suspended solids. [g/m^3]

    Raises
    ------
    ValueError
        If the turbidity is below 0.

    Examples
    --------
    >>> round(stream_suspended_solids(10.0), 1)
    20.9

    References
    ----------
    Packman, Comings and Booth 1999, ln TSS = 1.32 ln NTU.
    """
    checks.at_least(turbidity, 0.0, "turbidity", "NTU")
    return turbidity**1.32


@worked("Solids made by a coagulant", expression="dose * solids_yield", reference="yield of the product")
def coagulant_solids(dose: Dose, solids_yield: Yield) -> Concentration:
    """Return the solids that a coagulant dose makes; dose and yield count the same thing.

    Alum (18 hydrate) makes 0.234 of pure hydroxide by molar masses, about 0.44 with bound water; aluminium 2.89
    of pure hydroxide, about 4.89 with bound water.

    Parameters
    ----------
    dose : dose, counted as the yield is. [g/m^3]
    solids_yield : solids made per mass of the dose. [1]

    Returns
    -------
    Solids. [g/m^3]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(coagulant_solids(18.0, 0.234), 3)
    4.212

    References
    ----------
    Molar masses 156 / 666 for alum; 0.44 and 4.89 from memory of residuals handbooks.
    """
    checks.at_least(dose, 0.0, "dose", "g/m^3")
    checks.at_least(solids_yield, 0.0, "solids_yield")
    return dose * solids_yield


@worked("Dry solids removed", expression="raw_solids - settled_solids + dose * solids_yield", reference=_SOURCE)
def dry_solids(
    raw_solids: Annotated[Concentration, Range(20.0, 300.0)],
    settled_solids: Annotated[Concentration, Range(0.5, 20.0)],
    dose: Dose,
    solids_yield: Yield,
) -> Concentration:
    """Return the dry solids that a litre leaves in the basin: solids settled and hydroxide made.

    Parameters
    ----------
    raw_solids : suspended solids of the raw water. [g/m^3]
    settled_solids : suspended solids of the settled water. [g/m^3]
    dose : coagulant dose, counted as the yield is. [g/m^3]
    solids_yield : solids made per mass of the dose. [1]

    Returns
    -------
    Dry solids removed. [g/m^3]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(dry_solids(40.0, 12.0, 18.0, 0.234), 1)
    32.2

    References
    ----------
    Mass balance.
    """
    checks.at_least(raw_solids, 0.0, "raw_solids", "g/m^3")
    checks.at_least(settled_solids, 0.0, "settled_solids", "g/m^3")
    checks.at_least(dose, 0.0, "dose", "g/m^3")
    checks.at_least(solids_yield, 0.0, "solids_yield")
    return raw_solids - settled_solids + dose * solids_yield


@worked(
    "Solids made in treatment",
    expression="turbidity * solids_per_ntu + 4.89 * aluminium_dose + aid_dose",
    reference="4.89 mg a mg of Al with bound water, from memory of residuals handbooks",
)
def solids_made(
    turbidity: Turbidity,
    solids_per_ntu: SolidsPerTurbidity,
    aluminium_dose: Annotated[Dose, Range(0.2, 10.0)],
    aid_dose: Annotated[Dose, Range(0.0, 5.0)] = 0.0,
) -> Concentration:
    """Return the solids that each volume of raw water turns into: its own, hydroxide with bound water, and aid.

    Parameters
    ----------
    turbidity : raw turbidity. [NTU]
    solids_per_ntu : solids of one turbidity unit. [g/(m^3*NTU)]
    aluminium_dose : coagulant dose as Al. [g/m^3]
    aid_dose : polymer or other dose that stays solid. [g/m^3]

    Returns
    -------
    Solids. [g/m^3]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(solids_made(20.0, 1.5, 5.85, 1.25), 1)
    59.9

    References
    ----------
    From memory of residuals handbooks.
    """
    checks.at_least(turbidity, 0.0, "turbidity", "NTU")
    checks.at_least(solids_per_ntu, 0.0, "solids_per_ntu", "g/(m^3*NTU)")
    checks.at_least(aluminium_dose, 0.0, "aluminium_dose", "g/m^3")
    checks.at_least(aid_dose, 0.0, "aid_dose", "g/m^3")
    return turbidity * solids_per_ntu + 4.89 * aluminium_dose + aid_dose


@worked("Solids per time", expression="solids * flow / 1000", reference="mass balance; 8.34 lb/gal in US units")
def solids_rate(solids: Concentration, flow: Flow) -> MassRate:
    """Return the mass of solids that a flow carries.

    Parameters
    ----------
    solids : suspended solids. [g/m^3]
    flow : flow. [m^3/s]

    Returns
    -------
    Mass per time. [kg/s]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(solids_rate(59.9, 0.1) * 86400)  # kg a day
    518

    References
    ----------
    Mass balance.
    """
    checks.at_least(solids, 0.0, "solids", "g/m^3")
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    return solids * flow / 1000


@worked("Volume of sludge", expression="dry_mass / (solids_share * density)", reference=_SOURCE)
def sludge_volume(
    dry_mass: Mass,
    solids_share: Annotated[Fraction, Range(0.001, 0.3)],
    density: Annotated[Density, Range(1000.0, 1200.0)] = 1000.0,
) -> Volume:
    """Return the volume of sludge that holds a mass of dry solids.

    Parameters
    ----------
    dry_mass : dry solids. [kg]
    solids_share : share of dry solids in the sludge by weight. [1]
    density : density of the sludge. [kg/m^3]

    Returns
    -------
    Volume. [m^3]

    Raises
    ------
    ValueError
        If the mass is below 0, the share not above 0 and at most 1, or the density not above 0.

    Examples
    --------
    >>> sludge_volume(100.0, 0.02)
    5.0

    References
    ----------
    Definition.
    """
    checks.at_least(dry_mass, 0.0, "dry_mass", "kg")
    checks.above(solids_share, 0.0, "solids_share")
    checks.require(solids_share <= 1, solids_share, "solids_share must not be above 1 (100 percent)")
    checks.above(density, 0.0, "density", "kg/m^3")
    return dry_mass / (solids_share * density)


@worked("Depth of sludge", expression="dry_mass / (area * dry_density)", reference="definition")
def sludge_depth(
    dry_mass: Annotated[Mass, Range(1.0, 2000.0)],
    area: Area,
    dry_density: Annotated[GrainDensity, Range(20.0, 400.0)] = 250.0,
) -> Length:
    """Return how deep a mass of dry solids lies in a basin when it is spread evenly; the basin holds that much less.

    Parameters
    ----------
    dry_mass : dry solids that settled. [kg]
    area : plan area they lie on. [m^2]
    dry_density : dry solids in each volume of sludge: 150 to 400 for silt, 20 to 50 for hydroxide. [kg/m^3]

    Returns
    -------
    Depth. [m]

    Raises
    ------
    ValueError
        If the mass is below 0, or area or density not above 0.

    Examples
    --------
    >>> round(sludge_depth(300.0, 6.0), 2)
    0.2

    References
    ----------
    Definition; densities from memory.
    """
    checks.at_least(dry_mass, 0.0, "dry_mass", "kg")
    checks.above(area, 0.0, "area", "m^2")
    checks.above(dry_density, 0.0, "dry_density", "kg/m^3")
    return dry_mass / (area * dry_density)
