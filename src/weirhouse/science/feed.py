"""How much product brings this dose, and what must the pump be set to?

A dose in mg/L means nothing until it is said what it counts. Wherever product is turned into what a dose counts, or
back, `basis` says so and has no default:

- ``product``: milligrams of the liquid or dry product as it is bought;
- ``Al2O3``: of the aluminium oxide in it, the figure on an aluminium coagulant's label;
- ``Al``: of the aluminium in it, 0.5293 of the oxide;
- ``Cl2``: of the chlorine available in it.

`strength` is then the label's share by weight: of Al2O3 for the bases Al2O3 and Al, of available chlorine for Cl2. For
the basis product it does not enter.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated, Any, Literal

import numpy as np

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Density,
    Dose,
    Duration,
    FeedRate,
    Flow,
    Fraction,
    Length,
    Mass,
    MassRate,
    Ratio,
    Several,
    Volume,
)
from weirhouse.working import Range, note, worked

Basis = Literal["product", "Al2O3", "Al", "Cl2"]
ALUMINIUM_IN_OXIDE = 0.5293  # 2 x 26.98 / 101.96 by molar masses

Strength = Annotated[Fraction, Range(0.02, 1.0)]
ProductDensity = Annotated[Density, Range(1000.0, 1450.0)]
Dilution = Annotated[Ratio, Range(1.0, 10.0)]
_SOURCE = "definition; common practice, no source"
_MASS_BALANCE = "mass balance; 8.34 lb/gal in US units"
_STRENGTH = "Give the label's share by weight, such as 17 percent."
_NO_DILUTION = (
    "It does not bear dilution: polymerised aluminium breaks down and blocks lines in dilute solution. "
    "Feed it neat, or ask the maker and mark the product dilutable."
)
_DENSITY = "Give the density of the product, such as 1.36 kg/L."


def _share(strength: Any) -> None:
    checks.above(strength, 0.0, "strength", hint=_STRENGTH)
    checks.require(strength <= 1, strength, "strength must not be above 1 (100 percent)", _STRENGTH)


@worked("Mass fed", expression="dose * flow / 1000", reference=_MASS_BALANCE)
def mass_rate(dose: Dose, flow: Flow) -> MassRate:
    """Return the mass per time that a dose takes: of whatever the dose counts, product only if the dose is as product.

    Parameters
    ----------
    dose : dose. [g/m^3]
    flow : flow treated. [m^3/s]

    Returns
    -------
    Mass per time, counted as the dose is. [kg/s]

    Raises
    ------
    ValueError
        If dose or flow is below 0.

    Examples
    --------
    >>> round(mass_rate(18.0, 0.657) * 86400)  # 18 mg/L at 15 MGD, kg/day
    1022

    References
    ----------
    Mass balance; in US units MGD x mg/L x 8.34 = lb/day.
    """
    checks.at_least(dose, 0.0, "dose", "g/m^3")
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    return dose * flow / 1000


@worked("Dose from the mass fed", expression="1000 * mass_rate / flow", reference=_MASS_BALANCE)
def dose_from_mass_rate(mass_rate: MassRate, flow: Flow) -> Dose:
    """Return the dose that a mass per time makes, counted as the mass is.

    Parameters
    ----------
    mass_rate : mass fed per time. [kg/s]
    flow : flow treated. [m^3/s]

    Returns
    -------
    Dose. [g/m^3]

    Raises
    ------
    ValueError
        If the mass is below 0 or the flow not above 0.

    Examples
    --------
    >>> round(dose_from_mass_rate(0.00126, 1.0515), 2)  # 240 lb/day to 24 MGD
    1.2

    References
    ----------
    Mass balance.
    """
    checks.at_least(mass_rate, 0.0, "mass_rate", "kg/s")
    checks.above(flow, 0.0, "flow", "m^3/s", "Without flow there is no dose.")
    return 1000 * mass_rate / flow


@worked("Dose as product from a dose of what is in it", expression="dose / strength", reference=_SOURCE)
def product_dose_from_active(dose: Dose, strength: Strength) -> Dose:
    """Return the dose as product when dose and strength count the same: both as Al2O3, or both as Cl2.

    Parameters
    ----------
    dose : dose as what the strength counts. [g/m^3]
    strength : share by weight. [1]

    Returns
    -------
    Dose as product. [g/m^3]

    Raises
    ------
    ValueError
        If the dose is below 0 or the strength not above 0 and at most 1.

    Examples
    --------
    >>> round(product_dose_from_active(3.4, 0.17), 2)
    20.0

    References
    ----------
    Definition.
    """
    checks.at_least(dose, 0.0, "dose", "g/m^3")
    _share(strength)
    return dose / strength


@worked("Dose as Al2O3 from a dose as Al", expression="dose / 0.5293", reference="molar masses: 2 x 26.98 / 101.96")
def al2o3_dose_from_aluminium(dose: Annotated[Dose, Range(0.1, 10.0)]) -> Dose:
    """Return the dose as Al2O3 that holds a dose as Al.

    Parameters
    ----------
    dose : dose as Al. [g/m^3]

    Returns
    -------
    Dose as Al2O3. [g/m^3]

    Raises
    ------
    ValueError
        If the dose is below 0.

    Examples
    --------
    >>> round(al2o3_dose_from_aluminium(1.8), 2)
    3.4

    References
    ----------
    Molar masses of Al (26.98) and Al2O3 (101.96).
    """
    checks.at_least(dose, 0.0, "dose", "g/m^3")
    return dose / ALUMINIUM_IN_OXIDE


@worked("Dose as Al from a dose as Al2O3", expression="0.5293 * dose", reference="molar masses: 2 x 26.98 / 101.96")
def aluminium_dose_from_al2o3(dose: Annotated[Dose, Range(0.1, 20.0)]) -> Dose:
    """Return the dose as Al in a dose as Al2O3.

    Parameters
    ----------
    dose : dose as Al2O3. [g/m^3]

    Returns
    -------
    Dose as Al. [g/m^3]

    Raises
    ------
    ValueError
        If the dose is below 0.

    Examples
    --------
    >>> round(aluminium_dose_from_al2o3(3.4), 2)
    1.8

    References
    ----------
    Molar masses of Al (26.98) and Al2O3 (101.96).
    """
    checks.at_least(dose, 0.0, "dose", "g/m^3")
    return ALUMINIUM_IN_OXIDE * dose


@worked("Dose of what is in a product", expression="dose * strength", reference=_SOURCE)
def active_dose_from_product(dose: Dose, strength: Strength) -> Dose:
    """Return the dose as what the strength counts (Al2O3, Cl2) in a dose as product.

    Parameters
    ----------
    dose : dose as product. [g/m^3]
    strength : share by weight. [1]

    Returns
    -------
    Dose as what the strength counts. [g/m^3]

    Raises
    ------
    ValueError
        If the dose is below 0 or the strength not above 0 and at most 1.

    Examples
    --------
    >>> round(active_dose_from_product(20.0, 0.17), 2)
    3.4

    References
    ----------
    Definition.
    """
    checks.at_least(dose, 0.0, "dose", "g/m^3")
    _share(strength)
    return dose * strength


@worked("Dose as product", method="by the basis: as it is, over the strength, or by way of Al2O3", reference=_SOURCE)
def product_dose(dose: Dose, strength: Strength, basis: Basis) -> Dose:
    """Return the dose as product that brings a dose in the basis named.

    Parameters
    ----------
    dose : dose as the basis counts it. [g/m^3]
    strength : share by weight of Al2O3 (bases Al2O3, Al) or of available chlorine (Cl2). [1]
    basis : what the dose counts: product, Al2O3, Al, Cl2.

    Returns
    -------
    Dose as product. [g/m^3]

    Raises
    ------
    ValueError
        If the dose is below 0, the strength not above 0 and at most 1, or the basis is not one of the four.

    Examples
    --------
    >>> round(product_dose(1.8, strength=0.17, basis="Al"), 1)
    20.0

    References
    ----------
    Definition; molar masses.
    """
    _known_basis(basis)
    _share(strength)
    if basis == "product":
        checks.at_least(dose, 0.0, "dose", "g/m^3")
        return dose
    return product_dose_from_active(al2o3_dose_from_aluminium(dose) if basis == "Al" else dose, strength)


@worked("Dose as aluminium", method="by the basis: as it is, by way of the strength, or of Al2O3", reference=_SOURCE)
def aluminium_dose(dose: Dose, strength: Strength, basis: Literal["product", "Al2O3", "Al"]) -> Dose:
    """Return the dose as aluminium in a coagulant dose of the basis named.

    Parameters
    ----------
    dose : dose as the basis counts it. [g/m^3]
    strength : share of Al2O3 in the product by weight. [1]
    basis : what the dose counts: product, Al2O3, Al.

    Returns
    -------
    Dose as Al. [g/m^3]

    Raises
    ------
    ValueError
        If the dose is below 0, the strength not above 0 and at most 1, or the basis is not one of the three.

    Examples
    --------
    >>> round(aluminium_dose(20.0, strength=0.17, basis="product"), 2)
    1.8

    References
    ----------
    Definition; molar masses.
    """
    if basis not in ("product", "Al2O3", "Al"):
        raise ValueError(
            f'basis must be product, Al2O3 or Al for a coagulant; it is "{basis}". Say what the dose counts.'
        )
    _share(strength)
    if basis == "Al":
        checks.at_least(dose, 0.0, "dose", "g/m^3")
        return dose
    return aluminium_dose_from_al2o3(active_dose_from_product(dose, strength) if basis == "product" else dose)


def _known_basis(basis: str) -> None:
    if basis not in ("product", "Al2O3", "Al", "Cl2"):
        raise ValueError(f'basis must be product, Al2O3, Al or Cl2; it is "{basis}". Say what the dose counts.')


@worked("Neat product to feed", expression="product_dose * flow / (1000 * density)", reference=_MASS_BALANCE)
def neat_feed_rate(product_dose: Dose, flow: Flow, density: ProductDensity) -> FeedRate:
    """Return the volume per time of neat product that brings a dose as product.

    Parameters
    ----------
    product_dose : dose as product. [g/m^3]
    flow : flow treated. [m^3/s]
    density : density of the product. [kg/m^3]

    Returns
    -------
    Volume per time. [m^3/s]

    Raises
    ------
    ValueError
        If dose or flow is below 0 or the density not above 0.

    Examples
    --------
    >>> round(neat_feed_rate(22.0, 0.009464, 1360.0) * 6e7, 2)  # mL/min
    9.19

    References
    ----------
    Mass balance.
    """
    checks.at_least(product_dose, 0.0, "product_dose", "g/m^3")
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(density, 0.0, "density", "kg/m^3", _DENSITY)
    return product_dose * flow / (1000 * density)


@worked("Diluted solution to feed", expression="neat_feed_rate * dilution", reference=_SOURCE)
def diluted_feed_rate(neat_feed_rate: FeedRate, dilution: Dilution, dilutable: bool) -> FeedRate:
    """Return the volume per time of mixed solution that holds a volume per time of product.

    Parameters
    ----------
    neat_feed_rate : neat product to feed. [m^3/s]
    dilution : volume of mixed solution made from one volume of product; 1 is neat. [1]
    dilutable : whether the maker of the product allows dilution.

    Returns
    -------
    Volume per time of mixed solution. [m^3/s]

    Raises
    ------
    ValueError
        If the dilution is below 1, or above 1 for a product that does not bear it.

    Examples
    --------
    >>> round(diluted_feed_rate(1e-7, dilution=4.0, dilutable=True) * 6e7, 1)  # mL/min
    24.0

    References
    ----------
    Definition. Polymerised aluminium coagulants break down when diluted (common practice, no source).
    """
    _bears(dilution, dilutable)
    return neat_feed_rate * dilution


def _bears(dilution: Any, dilutable: bool) -> None:
    checks.at_least(dilution, 1.0, "dilution", hint="One volume of product makes at least one volume; 1 is neat.")
    if not dilutable:
        checks.require(
            dilution == 1,
            dilution,
            "dilution must be 1 (neat) for this product",
            _NO_DILUTION,
        )


@worked("Feed rate", method="dose as product, neat product, then dilution", reference=_MASS_BALANCE)
def feed_rate(
    dose: Dose,
    flow: Flow,
    strength: Strength,
    density: ProductDensity,
    basis: Basis,
    dilution: Annotated[Ratio, Range(1.0, 1.0)] = 1.0,
    dilutable: bool = False,
) -> FeedRate:
    """Return the volume per time of product, or of a solution mixed from it, that brings a dose.

    Parameters
    ----------
    dose : dose as the basis counts it. [g/m^3]
    flow : flow treated. [m^3/s]
    strength : share by weight of Al2O3 (bases Al2O3, Al) or of available chlorine (Cl2). [1]
    density : density of the product. [kg/m^3]
    basis : what the dose counts: product, Al2O3, Al, Cl2.
    dilution : volume of mixed solution made from one volume of product; 1 is neat. [1]
    dilutable : whether the maker of the product allows dilution.

    Returns
    -------
    Volume per time. [m^3/s]

    Raises
    ------
    ValueError
        If an input is out of bounds, or a product that does not bear dilution is diluted.

    Examples
    --------
    >>> round(feed_rate(22.0, 0.009464, strength=0.17, density=1360.0, basis="product") * 6e7, 2)  # mL/min
    9.19
    >>> feed = feed_rate(1.5, 0.009464, strength=0.104, density=1200.0, basis="Cl2", dilution=4.0, dilutable=True)
    >>> round(feed * 6e7, 1)
    27.3

    References
    ----------
    Mass balance.
    """
    neat = neat_feed_rate(product_dose(dose, strength, basis), flow, density)
    if isinstance(dilution, np.ndarray) or dilution != 1:
        return diluted_feed_rate(neat, dilution, dilutable)
    return neat


@worked("Dose from the feed rate", method="product fed per flow, then the basis", reference=_MASS_BALANCE)
def dose_from_feed_rate(
    feed_rate: FeedRate,
    flow: Flow,
    strength: Strength,
    density: ProductDensity,
    basis: Basis,
    dilution: Dilution = 1.0,
) -> Dose:
    """Return the dose, in the basis named, that a feed of product or of mixed solution makes.

    Parameters
    ----------
    feed_rate : volume per time of product or mixed solution. [m^3/s]
    flow : flow treated. [m^3/s]
    strength : share by weight of Al2O3 (bases Al2O3, Al) or of available chlorine (Cl2). [1]
    density : density of the product. [kg/m^3]
    basis : what the dose is to count: product, Al2O3, Al, Cl2.
    dilution : volume of mixed solution made from one volume of product; 1 is neat. [1]

    Returns
    -------
    Dose as the basis counts it. [g/m^3]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(dose_from_feed_rate(9.19 / 6e7, 0.009464, strength=0.17, density=1360.0, basis="product"), 1)
    22.0

    References
    ----------
    Mass balance.
    """
    _known_basis(basis)
    _share(strength)
    as_product = product_dose_from_feed_rate(feed_rate, flow, density, dilution)
    if basis == "product":
        return as_product
    active = active_dose_from_product(as_product, strength)
    return aluminium_dose_from_al2o3(active) if basis == "Al" else active


@worked(
    "Dose as product from the feed rate",
    expression="1000 * feed_rate / dilution * density / flow",
    reference=_MASS_BALANCE,
)
def product_dose_from_feed_rate(
    feed_rate: FeedRate, flow: Flow, density: ProductDensity, dilution: Dilution = 1.0
) -> Dose:
    """Return the dose as product that a feed of product or of mixed solution makes.

    Parameters
    ----------
    feed_rate : volume per time of product or mixed solution. [m^3/s]
    flow : flow treated. [m^3/s]
    density : density of the neat product. [kg/m^3]
    dilution : volume of mixed solution made from one volume of product; 1 is neat. [1]

    Returns
    -------
    Dose as product. [g/m^3]

    Raises
    ------
    ValueError
        If the feed is below 0, flow or density is not above 0, or the dilution is below 1.

    Examples
    --------
    >>> round(product_dose_from_feed_rate(9.19 / 6e7, 0.009464, 1360.0), 1)
    22.0

    References
    ----------
    Mass balance.
    """
    checks.at_least(feed_rate, 0.0, "feed_rate", "m^3/s")
    checks.above(flow, 0.0, "flow", "m^3/s", "Without flow there is no dose.")
    checks.above(density, 0.0, "density", "kg/m^3", _DENSITY)
    checks.at_least(dilution, 1.0, "dilution", hint="One volume of product makes at least one volume; 1 is neat.")
    return 1000 * feed_rate / dilution * density / flow


@worked("Active substance in a volume", expression="strength * density", reference=_SOURCE)
def active_per_volume(strength: Strength, density: ProductDensity) -> Density:
    """Return the mass of what the strength counts in a volume of product (pounds per gallon, grams per millilitre).

    Parameters
    ----------
    strength : share by weight. [1]
    density : density of the product; 1000 times its specific gravity. [kg/m^3]

    Returns
    -------
    Mass per volume of product. [kg/m^3]

    Raises
    ------
    ValueError
        If the strength is not above 0 and at most 1, or the density not above 0.

    Examples
    --------
    >>> round(active_per_volume(0.12, 1410.0), 1)
    169.2

    References
    ----------
    Definition.
    """
    _share(strength)
    checks.above(density, 0.0, "density", "kg/m^3", _DENSITY)
    return strength * density


@worked("Volume of product that holds a mass", expression="active_mass / (strength * density)", reference=_SOURCE)
def product_volume(active_mass: Mass, strength: Strength, density: ProductDensity) -> Volume:
    """Return the volume of product that holds a mass of what its strength counts.

    Parameters
    ----------
    active_mass : mass wanted, counted as the strength is. [kg]
    strength : share by weight. [1]
    density : density of the product. [kg/m^3]

    Returns
    -------
    Volume of product. [m^3]

    Raises
    ------
    ValueError
        If the mass is below 0, the strength not above 0 and at most 1, or the density not above 0.

    Examples
    --------
    >>> round(product_volume(0.010, 0.485, 1335.0) * 1e6, 2)  # mL that hold 10 g
    15.44

    References
    ----------
    Definition.
    """
    checks.at_least(active_mass, 0.0, "active_mass", "kg")
    _share(strength)
    checks.above(density, 0.0, "density", "kg/m^3", _DENSITY)
    return active_mass / (strength * density)


@worked("Mass of product that holds a mass", expression="active_mass / strength", reference=_SOURCE)
def product_mass(active_mass: Mass, strength: Strength) -> Mass:
    """Return the mass of product that holds a mass of what its strength counts.

    Parameters
    ----------
    active_mass : mass wanted, counted as the strength is. [kg]
    strength : share by weight. [1]

    Returns
    -------
    Mass of product. [kg]

    Raises
    ------
    ValueError
        If the mass is below 0 or the strength not above 0 and at most 1.

    Examples
    --------
    >>> round(product_mass(50.0, 0.65), 1)
    76.9

    References
    ----------
    Definition.
    """
    checks.at_least(active_mass, 0.0, "active_mass", "kg")
    _share(strength)
    return active_mass / strength


@worked("Strength by weight from trade percent", expression="1000 * trade_strength / density", reference=_SOURCE)
def strength_from_trade_percent(
    trade_strength: Annotated[Fraction, Range(0.02, 0.18)], density: ProductDensity
) -> Fraction:
    """Return the share by weight of hypochlorite sold by trade percent, grams of available chlorine in 100 mL.

    Parameters
    ----------
    trade_strength : trade percent, weight per volume; 12.5 percent is 125 g/L. [1]
    density : density of the product. [kg/m^3]

    Returns
    -------
    Available chlorine by weight. [1]

    Raises
    ------
    ValueError
        If the strength is below 0 or the density not above 0.

    Examples
    --------
    >>> round(strength_from_trade_percent(0.125, 1200.0), 4)
    0.1042

    References
    ----------
    Definition of trade percent (common practice, no source).
    """
    checks.at_least(trade_strength, 0.0, "trade_strength")
    checks.above(density, 0.0, "density", "kg/m^3", _DENSITY)
    return 1000 * trade_strength / density


@worked(
    "Strength of a solution made up",
    expression="solute_mass / (solute_mass + 999.1 * water_volume)",
    reference="definition; water at 15 degC, 8.34 lb/gal",
)
def solution_strength(
    solute_mass: Annotated[Mass, Range(0.01, 50.0)], water_volume: Annotated[Volume, Range(0.01, 2.0)]
) -> Fraction:
    """Return the strength by weight of a dry chemical dissolved in water.

    Parameters
    ----------
    solute_mass : dry chemical put in. [kg]
    water_volume : water it is dissolved in. [m^3]

    Returns
    -------
    Share by weight. [1]

    Raises
    ------
    ValueError
        If the mass is below 0 or the water not above 0.

    Examples
    --------
    >>> round(solution_strength(0.2835, 0.05678) * 100, 2)  # 10 oz in 15 gal, percent
    0.5

    References
    ----------
    Definition.
    """
    checks.at_least(solute_mass, 0.0, "solute_mass", "kg")
    checks.above(water_volume, 0.0, "water_volume", "m^3")
    return solute_mass / (solute_mass + 999.1 * water_volume)


def _may_weaken(strong: Any, weak: Any, dilutable: bool) -> None:
    if not dilutable:
        checks.refuse(weak != strong, weak, "weak must equal strong for this product", _NO_DILUTION)


def _weaker(strong: Any, weak: Any) -> None:
    checks.above(strong, 0.0, "strong", hint=_STRENGTH)
    checks.at_least(weak, 0.0, "weak", hint=_STRENGTH)
    checks.refuse(weak > strong, weak, "weak must not be above strong", "Water only makes a solution weaker.")


@worked("Product for a weaker solution, by volume", expression="weak * final_volume / strong", reference=_SOURCE)
def dilution_volume(
    strong: Annotated[Fraction, Range(0.1, 1.0)],
    weak: Annotated[Fraction, Range(0.001, 0.1)],
    final_volume: Volume,
    dilutable: bool,
) -> Volume:
    """Return the volume of strong solution that, filled up with water, makes a volume of weak solution.

    Holds for strengths per volume; by weight it is near while the densities are alike. Add the product to the water.

    Parameters
    ----------
    strong : strength of the product. [1]
    weak : strength wanted. [1]
    final_volume : volume wanted. [m^3]
    dilutable : whether the maker of the product allows dilution.

    Returns
    -------
    Volume of product. [m^3]

    Raises
    ------
    ValueError
        If the weak strength is above the strong one, or the product does not bear dilution.

    Examples
    --------
    >>> round(dilution_volume(0.15, 0.09, 115.0, dilutable=True), 1)
    69.0

    References
    ----------
    Definition.
    """
    _weaker(strong, weak)
    checks.at_least(final_volume, 0.0, "final_volume", "m^3")
    _may_weaken(strong, weak, dilutable)
    return weak * final_volume / strong


@worked("Product for a weaker solution, by mass", expression="weak * final_mass / strong", reference=_SOURCE)
def dilution_mass(
    strong: Annotated[Fraction, Range(0.1, 1.0)],
    weak: Annotated[Fraction, Range(0.001, 0.1)],
    final_mass: Mass,
    dilutable: bool,
) -> Mass:
    """Return the mass of strong product that, with water, makes a mass of weak solution.

    Parameters
    ----------
    strong : strength of the product by weight. [1]
    weak : strength wanted by weight. [1]
    final_mass : mass wanted. [kg]
    dilutable : whether the maker of the product allows dilution.

    Returns
    -------
    Mass of product. [kg]

    Raises
    ------
    ValueError
        If the weak strength is above the strong one, or the product does not bear dilution.

    Examples
    --------
    >>> round(dilution_mass(0.12, 0.005, 120.0, dilutable=True), 2)
    5.0

    References
    ----------
    Definition.
    """
    _weaker(strong, weak)
    checks.at_least(final_mass, 0.0, "final_mass", "kg")
    _may_weaken(strong, weak, dilutable)
    return weak * final_mass / strong


@worked(
    "Solution to feed",
    expression="dose * flow / (1000 * active_per_volume)",
    reference=_MASS_BALANCE,
)
def solution_feed_rate(dose: Dose, flow: Flow, active_per_volume: Annotated[Density, Range(5.0, 800.0)]) -> FeedRate:
    """Return the volume per time of a solution of known content that brings a dose; both count the same substance.

    Parameters
    ----------
    dose : dose, counted as the content is. [g/m^3]
    flow : flow treated. [m^3/s]
    active_per_volume : content of the solution; 1 mg/mL is 1 kg/m3. [kg/m^3]

    Returns
    -------
    Volume per time. [m^3/s]

    Raises
    ------
    ValueError
        If dose or flow is below 0 or the content not above 0.

    Examples
    --------
    >>> round(solution_feed_rate(40.0, 0.050, 606.0) * 6e7)  # mL/min
    198

    References
    ----------
    Mass balance.
    """
    checks.at_least(dose, 0.0, "dose", "g/m^3")
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(active_per_volume, 0.0, "active_per_volume", "kg/m^3")
    return dose * flow / (1000 * active_per_volume)


@worked("Feed rate from a drawdown", expression="volume / duration", reference=_SOURCE)
def drawdown_feed_rate(
    volume: Annotated[Volume, Range(1e-5, 2e-3)], duration: Annotated[Duration, Range(15.0, 600.0)]
) -> FeedRate:
    """Return what a pump delivers by the volume it drew from a calibration column.

    Parameters
    ----------
    volume : volume drawn. [m^3]
    duration : time it took. [s]

    Returns
    -------
    Volume per time. [m^3/s]

    Raises
    ------
    ValueError
        If the volume is below 0 or the time not above 0.

    Examples
    --------
    >>> round(drawdown_feed_rate(9.8e-6, 60.0) * 6e7, 1)  # mL/min
    9.8

    References
    ----------
    Definition.
    """
    checks.at_least(volume, 0.0, "volume", "m^3", "Give the volume drawn, start less end.")
    checks.above(duration, 0.0, "duration", "s")
    return volume / duration


@worked(
    "Feed rate from the fall of a tank's level",
    expression="pi / 4 * diameter**2 * level_drop / duration",
    reference=_SOURCE,
)
def tank_drawdown_feed_rate(
    diameter: Annotated[Length, Range(0.3, 2.0)],
    level_drop: Annotated[Length, Range(0.005, 0.5)],
    duration: Annotated[Duration, Range(60.0, 86400.0)],
) -> FeedRate:
    """Return what a pump delivers by the fall of the level in its upright round tank.

    Parameters
    ----------
    diameter : inside diameter of the tank. [m]
    level_drop : fall of the level. [m]
    duration : time it took. [s]

    Returns
    -------
    Volume per time. [m^3/s]

    Raises
    ------
    ValueError
        If the diameter or the time is not above 0, or the drop is below 0.

    Examples
    --------
    >>> round(tank_drawdown_feed_rate(1.2192, 0.1524, 900.0) * 15850.3, 1)  # 4 ft, 0.5 ft in 15 min: gpm
    3.1

    References
    ----------
    Definition.
    """
    checks.above(diameter, 0.0, "diameter", "m")
    checks.at_least(level_drop, 0.0, "level_drop", "m", "A tank that was filled meanwhile cannot be used for this.")
    checks.above(duration, 0.0, "duration", "s")
    return 0.7853981633974483 * diameter * diameter * level_drop / duration


@worked("Stroke setting", expression="wanted / maximum", reference=_SOURCE)
def stroke_setting(wanted: FeedRate, maximum: Annotated[FeedRate, Range(1e-5, 2e-5)]) -> Fraction:
    """Return the stroke of a pump that delivers in proportion to it, at the same speed.

    Real pumps are not quite proportional: a drawdown curve is better.

    Parameters
    ----------
    wanted : feed wanted. [m^3/s]
    maximum : feed at full stroke. [m^3/s]

    Returns
    -------
    Share of full stroke. [1]

    Raises
    ------
    ValueError
        If the feed wanted is below 0 or above the maximum.

    Examples
    --------
    >>> round(stroke_setting(8.0, 90.0), 3)
    0.089

    References
    ----------
    Definition.
    """
    checks.at_least(wanted, 0.0, "wanted", "m^3/s")
    checks.above(maximum, 0.0, "maximum", "m^3/s")
    checks.refuse(wanted > maximum, wanted, "wanted must not be above the maximum", "This pump cannot deliver it.")
    return wanted / maximum


@worked(
    "Between two points of a calibration curve",
    expression="lower_setting + (upper_setting - lower_setting) * (feed_rate - lower_feed_rate)"
    " / (upper_feed_rate - lower_feed_rate)",
    reference="straight line between neighbouring points",
)
def setting_between(
    feed_rate: Annotated[FeedRate, Range(5e-8, 1e-7)],
    lower_setting: Annotated[Fraction, Range(0.1, 0.4)],
    lower_feed_rate: Annotated[FeedRate, Range(1e-8, 4e-8)],
    upper_setting: Annotated[Fraction, Range(0.5, 1.0)],
    upper_feed_rate: Annotated[FeedRate, Range(1.1e-7, 2e-7)],
) -> Fraction:
    """Return the pump setting on the straight line between two neighbouring points of its drawdown curve.

    Parameters
    ----------
    feed_rate : feed wanted. [m^3/s]
    lower_setting : setting of the point below. [1]
    lower_feed_rate : feed measured there. [m^3/s]
    upper_setting : setting of the point above. [1]
    upper_feed_rate : feed measured there. [m^3/s]

    Returns
    -------
    Setting. [1]

    Raises
    ------
    ValueError
        If the feed wanted does not lie between the points.

    Examples
    --------
    >>> round(setting_between(9.19, 0.25, 5.0, 0.50, 9.8), 3)
    0.468

    References
    ----------
    Straight line between neighbouring points (common practice, no source).
    """
    outside = "Use the two points on either side of the feed wanted."
    checks.refuse(feed_rate < lower_feed_rate, feed_rate, "feed_rate must not be below lower_feed_rate", outside)
    checks.refuse(feed_rate > upper_feed_rate, feed_rate, "feed_rate must not be above upper_feed_rate", outside)
    checks.refuse(
        upper_feed_rate <= lower_feed_rate, upper_feed_rate, "upper_feed_rate must be above lower_feed_rate", outside
    )
    share = (feed_rate - lower_feed_rate) / (upper_feed_rate - lower_feed_rate)
    return lower_setting + (upper_setting - lower_setting) * share


CurveSettings = Annotated[Sequence[float], Several("1", us="percent", si="percent", low=0.0, high=1.0)]
CurveFeeds = Annotated[Sequence[float], Several("m^3/s", us="mL/min", si="mL/min", low=1e-9, high=1e-6)]


@worked(
    "Pump setting from its calibration curve",
    method="straight line between the two neighbouring points of the drawdown curve",
    reference="the plant's own drawdown test",
)
def pump_setting(
    feed_rate: Annotated[FeedRate, Range(2e-7, 6e-7)], settings: CurveSettings, feed_rates: CurveFeeds
) -> Fraction:
    """Return the setting at which a pump delivers a feed, from the points of its drawdown calibration.

    Parameters
    ----------
    feed_rate : feed wanted. [m^3/s]
    settings : settings at which the pump was tested, rising. [1]
    feed_rates : feeds measured there, rising. [m^3/s]

    Returns
    -------
    Setting, in the unit of `settings` (1 is 100 percent; a dial's own numbers stay numbers). [1]

    Raises
    ------
    ValueError
        If the feed lies outside the points, or the points are fewer than two, unpaired or not rising.

    Examples
    --------
    >>> round(pump_setting(9.19, settings=[0.10, 0.25, 0.50, 0.75, 1.0], feed_rates=[2.1, 5.0, 9.8, 14.5, 18.9]), 3)
    0.468

    References
    ----------
    The plant's own drawdown test.
    """
    _curve(settings, feed_rates)
    return _along(
        feed_rate,
        feed_rates,
        settings,
        "feed_rate must not be below the lowest point of the calibration curve, {:.4g} mL/min",
        "The pump was not tested that low: dilute the product if it bears it, use a smaller pump, or test it there.",
        "feed_rate must not be above the highest point of the calibration curve, {:.4g} mL/min",
        "The pump was not seen to deliver that: lower the plant flow, or use a larger pump. Never set it by guess.",
        6e7,
    )


@worked(
    "Feed rate at a pump setting",
    method="straight line between the two neighbouring points of the drawdown curve",
    reference="the plant's own drawdown test",
)
def feed_rate_at_setting(
    setting: Annotated[Fraction, Range(0.2, 0.7)], settings: CurveSettings, feed_rates: CurveFeeds
) -> FeedRate:
    """Return what a pump delivers at a setting, from the points of its drawdown calibration.

    Parameters
    ----------
    setting : setting now, in the unit of `settings`. [1]
    settings : settings at which the pump was tested, rising. [1]
    feed_rates : feeds measured there, rising. [m^3/s]

    Returns
    -------
    Feed. [m^3/s]

    Raises
    ------
    ValueError
        If the setting lies outside the points, or the points are fewer than two, unpaired or not rising.

    Examples
    --------
    >>> round(feed_rate_at_setting(0.6, settings=[0.10, 0.50, 1.0], feed_rates=[4.2, 21.5, 42.0]), 2)
    25.6

    References
    ----------
    The plant's own drawdown test.
    """
    _curve(settings, feed_rates)
    return _along(
        setting,
        settings,
        feed_rates,
        "setting must not be below the lowest point of the calibration curve, {:.4g}",
        "The pump was not tested that low: run a drawdown there.",
        "setting must not be above the highest point of the calibration curve, {:.4g}",
        "The pump was not tested that high: run a drawdown there.",
        1.0,
    )


def _curve(settings: Sequence[float], feed_rates: Sequence[float]) -> None:
    if len(settings) != len(feed_rates) or len(settings) < 2:
        raise ValueError(
            f"a calibration curve must have at least two points, each a setting with its feed; it has "
            f"{len(settings)} settings and {len(feed_rates)} feeds. Run a drawdown at two settings or more."
        )
    for name, values in (("settings", settings), ("feed_rates", feed_rates)):
        for place, (before, after) in enumerate(pairwise(values), 2):
            if not after > before:
                raise ValueError(
                    f"{name} of a calibration curve must rise from point to point; item {place} is {float(after):.6g} "
                    f"after {float(before):.6g}. Sort the points, and repeat a drawdown that does not fit."
                )


def _along(
    at: Any,
    known: Sequence[float],
    wanted: Sequence[float],
    below: str,
    below_hint: str,
    beyond: str,
    beyond_hint: str,
    shown: float,
) -> Any:
    """Return `wanted` where `known` is `at`; the messages show numbers times `shown`."""
    low, high = float(known[0]), float(known[-1])
    checks.refuse(at < low, at * shown, below.format(low * shown), below_hint)
    checks.refuse(at > high, at * shown, beyond.format(high * shown), beyond_hint)
    if isinstance(at, float | int):
        if at != at:
            return at
        upper = next(i for i in range(1, len(known)) if at <= known[i])
        note(f"between point {upper} and point {upper + 1} of {len(known)}")
        share = (at - known[upper - 1]) / (known[upper] - known[upper - 1])
        return float(wanted[upper - 1] + (wanted[upper] - wanted[upper - 1]) * share)
    return np.interp(at, known, wanted)


@worked("Time until a tank is empty", expression="volume / feed_rate", reference=_SOURCE)
def tank_time_left(
    volume: Annotated[Volume, Range(0.001, 1.0)], feed_rate: Annotated[FeedRate, Range(1e-8, 1e-5)]
) -> Duration:
    """Return how long the usable content of a day tank lasts at a feed.

    Parameters
    ----------
    volume : content above the level at which the pump loses its prime. [m^3]
    feed_rate : feed drawn from it. [m^3/s]

    Returns
    -------
    Time left. [s]

    Raises
    ------
    ValueError
        If the volume is below 0 or the feed not above 0.

    Examples
    --------
    >>> round(tank_time_left(0.100, 1.53e-7) / 3600, 0)  # 100 L at 9.18 mL/min, hours
    182.0

    References
    ----------
    Definition.
    """
    checks.at_least(volume, 0.0, "volume", "m^3", "The level is below the lowest usable one: fill the tank.")
    checks.above(feed_rate, 0.0, "feed_rate", "m^3/s", "A pump that feeds nothing empties nothing.")
    return volume / feed_rate


@worked("Time that a stock lasts", expression="stock / mass_rate", reference=_SOURCE)
def supply_time(stock: Mass, mass_rate: MassRate) -> Duration:
    """Return how long a stock of chemical lasts at its average use.

    Parameters
    ----------
    stock : mass in stock. [kg]
    mass_rate : average use. [kg/s]

    Returns
    -------
    Time left. [s]

    Raises
    ------
    ValueError
        If the stock is below 0 or the use not above 0.

    Examples
    --------
    >>> round(supply_time(2550.0, 90.0 / 86400) / 86400, 1)  # days
    28.3

    References
    ----------
    Definition.
    """
    checks.at_least(stock, 0.0, "stock", "kg")
    checks.above(mass_rate, 0.0, "mass_rate", "kg/s")
    return stock / mass_rate


@worked("Average use", expression="mass / duration", reference=_SOURCE)
def average_use(mass: Mass, duration: Duration) -> MassRate:
    """Return the average use of a chemical from the mass used in a time.

    Parameters
    ----------
    mass : mass used. [kg]
    duration : time. [s]

    Returns
    -------
    Average use. [kg/s]

    Raises
    ------
    ValueError
        If the mass is below 0 or the time not above 0.

    Examples
    --------
    >>> round(average_use(634.0, 7 * 86400.0) * 86400, 1)
    90.6

    References
    ----------
    Definition.
    """
    checks.at_least(mass, 0.0, "mass", "kg")
    checks.above(duration, 0.0, "duration", "s")
    return mass / duration


@worked(
    "Product to feed", expression="dose * flow / (1000 * strength)", reference="mass balance; 8.34 lb/gal in US units"
)
def product_mass_rate(
    dose: Annotated[Dose, Range(0.3, 60.0)], flow: Flow, strength: Annotated[Fraction, Range(0.05, 1.0)]
) -> MassRate:
    """Return the mass of product per time for a dose that counts what the strength counts: 65 percent HTH, say.

    Parameters
    ----------
    dose : dose, counted as the strength is (Cl2, Al2O3 ...). [g/m^3]
    flow : flow of water. [m^3/s]
    strength : share of it in the product by weight. [1]

    Returns
    -------
    Mass of product per time. [kg/s]

    Raises
    ------
    ValueError
        If dose or flow is below 0, or the strength not above 0 and at most 1.

    Examples
    --------
    >>> round(product_mass_rate(1.2, 0.0657, 0.65) * 86400, 1)  # kg a day
    10.5

    References
    ----------
    Mass balance.
    """
    checks.at_least(dose, 0.0, "dose", "mg/L")
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(strength, 0.0, "strength", "", "Give the label's strength, such as 65 percent.")
    checks.require(strength <= 1, strength, "strength must not be above 1 (100 percent)", "Write 65 percent, or 0.65.")
    return dose * flow / (1000 * strength)


@worked("Mass fed into a volume of water", expression="dose * volume / 1000", reference=_MASS_BALANCE)
def mass_fed(dose: Dose, volume: Annotated[Volume, Range(10.0, 20000.0)]) -> Mass:
    """Return the mass that a dose put into a volume of water took, counted as the dose is: a day's or a month's use.

    Parameters
    ----------
    dose : dose. [g/m^3]
    volume : water treated. [m^3]

    Returns
    -------
    Mass, counted as the dose is. [kg]

    Raises
    ------
    ValueError
        If dose or volume is below 0.

    Examples
    --------
    >>> round(mass_fed(1.0, 3785.41) / 0.45359237, 2)  # 1 mg/L in a million gallons, in lb
    8.35

    References
    ----------
    Mass balance; in US units million gallons x mg/L x 8.34 = lb.
    """
    checks.at_least(dose, 0.0, "dose", "mg/L")
    checks.at_least(volume, 0.0, "volume", "m^3")
    return dose * volume / 1000
