"""How does a filter change during its run: what it catches and holds, its head loss, its first water after a wash?

A simple law for one layer, with constants fitted on a plant's own head loss and filtered turbidity; the starting values
are from memory. It holds for rates of 2 to 12 m/h and up to 2 kg of deposit on the square metre.
"""

from typing import Annotated

from weirhouse.science import checks
from weirhouse.science.quantities import (
    AreaDensity,
    Concentration,
    DepositHeadLoss,
    Duration,
    Exponent,
    FilterCoefficient,
    FilterRate,
    Fraction,
    Head,
    Length,
    Resistance,
    SolidsPerTurbidity,
    Turbidity,
    Viscosity,
)
from weirhouse.working import Range, worked

Deposit = Annotated[Concentration, Range(1.0, 4000.0)]
_PRIOR = "reduced filter model with constants fitted to the plant; starting values from memory"


@worked(
    "Ripening of a filter",
    expression="least + (1 - least) * (1 - exp(-deposit / ripening_deposit))",
    reference="retained particles as collectors: C. R. O'Melia, W. Ali, Progress in Water Technology 10 (1978) 167",
)
def ripening_share(
    deposit: Deposit,
    ripening_deposit: Annotated[Concentration, Range(10.0, 100.0)] = 30.0,
    least: Annotated[Fraction, Range(0.3, 0.9)] = 0.55,
) -> Fraction:
    """Return what share of its full effect a washed filter has, which grows as the first deposit catches more.

    Parameters
    ----------
    deposit : deposit in each volume of bed. [g/m^3]
    ripening_deposit : deposit at which most of the ripening is done. [g/m^3]
    least : share right after the wash. [1]

    Returns
    -------
    Share of the ripe filter's coefficient. [1]

    Raises
    ------
    ValueError
        If a value is below 0, the ripening deposit not above 0, or the share above 1.

    Examples
    --------
    >>> round(ripening_share(30.0), 2)
    0.83

    References
    ----------
    O'Melia and Ali 1978 for the idea; the form and its values are from memory.
    """
    checks.at_least(deposit, 0.0, "deposit", "g/m^3")
    checks.above(ripening_deposit, 0.0, "ripening_deposit", "g/m^3")
    checks.within(least, 0.0, 1.0, "least")
    return least + (1 - least) * (1 - checks.exp(-deposit / ripening_deposit))


@worked(
    "Room left in a filter",
    expression="max(0, 1 - deposit / full_deposit)**exponent",
    reference=_PRIOR,
)
def blocking_share(
    deposit: Deposit,
    full_deposit: Annotated[Concentration, Range(1500.0, 12000.0)] = 4000.0,
    exponent: Annotated[Exponent, Range(0.3, 1.0)] = 0.5,
) -> Fraction:
    """Return what share of its effect a filter keeps as its pores fill: it breaks through as this nears 0.

    Parameters
    ----------
    deposit : deposit in each volume of bed. [g/m^3]
    full_deposit : deposit at which the layer holds no more: anthracite 4, fine sand 6 kg/m3. [g/m^3]
    exponent : how late the loss comes, above 0 to 10. [1]

    Returns
    -------
    Share of the clean filter's coefficient. [1]

    Raises
    ------
    ValueError
        If the deposit is below 0, or the full deposit or exponent not above 0.

    Examples
    --------
    >>> round(blocking_share(3000.0), 2)
    0.5

    References
    ----------
    Form and values from memory.
    """
    checks.at_least(deposit, 0.0, "deposit", "g/m^3")
    checks.above(full_deposit, 0.0, "full_deposit", "g/m^3")
    checks.above(exponent, 0.0, "exponent")
    checks.within(exponent, 0.0, 10.0, "exponent")
    return checks.most(0.0, 1 - deposit / full_deposit) ** exponent


@worked(
    "Filter coefficient in the run",
    expression="reference_coefficient * quality * sqrt(reference_rate / filtration_rate) * ripening * blocking",
    reference=_PRIOR,
)
def filter_coefficient_in_run(
    reference_coefficient: Annotated[FilterCoefficient, Range(1.0, 15.0)],
    filtration_rate: FilterRate,
    quality: Annotated[Fraction, Range(0.2, 1.0)] = 1.0,
    ripening: Annotated[Fraction, Range(0.3, 1.0)] = 1.0,
    blocking: Annotated[Fraction, Range(0.1, 1.0)] = 1.0,
    reference_rate: Annotated[FilterRate, Range(1e-3, 2e-3)] = 5 / 3600,
) -> FilterCoefficient:
    """Return the filter coefficient of a layer at a rate, a coagulation and a state of its run.

    Parameters
    ----------
    reference_coefficient : of the ripe, clean layer at the reference rate: anthracite 3, fine sand 8. [1/m]
    filtration_rate : filtration rate now. [m/s]
    quality : coagulation quality, 0 to 1. [1]
    ripening : ripening share, 0 to 1. [1]
    blocking : room left, 0 to 1. [1]
    reference_rate : rate of the reference coefficient, usually 5 m/h. [m/s]

    Returns
    -------
    Filter coefficient. [1/m]

    Raises
    ------
    ValueError
        If a value is below 0, a rate not above 0, or a share above 1.

    Examples
    --------
    >>> round(filter_coefficient_in_run(8.0, 7 / 3600, quality=0.8), 2)
    5.41

    References
    ----------
    Form and values from memory.
    """
    checks.at_least(reference_coefficient, 0.0, "reference_coefficient", "1/m")
    checks.above(filtration_rate, 0.0, "filtration_rate", "m/s")
    checks.above(reference_rate, 0.0, "reference_rate", "m/s")
    for value, name in ((quality, "quality"), (ripening, "ripening"), (blocking, "blocking")):
        checks.within(value, 0.0, 1.0, name)
    return reference_coefficient * quality * checks.sqrt(reference_rate / filtration_rate) * ripening * blocking


@worked(
    "Deposit on a filter",
    expression="0.001 * solids_per_ntu * (settled_turbidity - filtered_turbidity) * filtration_rate * run_time",
    reference="mass balance",
)
def filter_deposit(
    settled_turbidity: Annotated[Turbidity, Range(0.5, 10.0)],
    filtered_turbidity: Annotated[Turbidity, Range(0.02, 0.5)],
    filtration_rate: FilterRate,
    run_time: Annotated[Duration, Range(3600.0, 432000.0)],
    solids_per_ntu: SolidsPerTurbidity = 1.5,
) -> AreaDensity:
    """Return the dry deposit that a filter has caught for each area since its wash.

    Parameters
    ----------
    settled_turbidity : mean turbidity onto the filter. [NTU]
    filtered_turbidity : mean turbidity off it. [NTU]
    filtration_rate : filtration rate. [m/s]
    run_time : time filtered since the wash. [s]
    solids_per_ntu : solids of one turbidity unit, 1 to 2.5 mg/L. [g/(m^3*NTU)]

    Returns
    -------
    Deposit for each area of filter. [kg/m^2]

    Raises
    ------
    ValueError
        If a value is below 0 or more comes off than goes on.

    Examples
    --------
    >>> round(filter_deposit(2.0, 0.06, 5 / 3600, 24 * 3600.0), 2)
    0.35

    References
    ----------
    Mass balance; solids of one unit from memory.
    """
    for value, name, unit in (
        (filtered_turbidity, "filtered_turbidity", "NTU"), (filtration_rate, "filtration_rate", "m/s"),
        (run_time, "run_time", "s"), (solids_per_ntu, "solids_per_ntu", "mg/L"),
    ):  # fmt: skip
        checks.at_least(value, 0.0, name, unit)
    checks.refuse(
        settled_turbidity < filtered_turbidity, settled_turbidity,
        "settled_turbidity must not be below filtered_turbidity", "The filter would be losing what it caught.",
    )  # fmt: skip
    return 0.001 * solids_per_ntu * (settled_turbidity - filtered_turbidity) * filtration_rate * run_time


@worked(
    "Head loss of a filter with its deposit",
    expression="viscosity / 0.0010016 * filtration_rate * (resistance + deposit_resistance * deposit)",
    reference="head loss linear in rate and deposit: J. E. Tobiason, S. Vigneswaran, Water Research (1994), abstract",
)
def filter_head_loss(
    filtration_rate: FilterRate,
    deposit: Annotated[AreaDensity, Range(0.0, 2.0)],
    viscosity: Viscosity,
    resistance: Resistance,
    deposit_resistance: DepositHeadLoss = 1200.0,
) -> Head:
    """Return the head loss of a bed with its deposit; pipes and valves, which rise with the square, come on top.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    deposit : dry deposit for each area of filter. [kg/m^2]
    viscosity : dynamic viscosity of the water. [Pa*s]
    resistance : head loss of the clean bed at 20 degC over the rate. [s]
    deposit_resistance : head loss at 20 degC of one unit of deposit over the rate; fitted. [s*m^2/kg]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If a value is below 0.

    Examples
    --------
    >>> round(filter_head_loss(5 / 3600, 0.35, 0.0013059, 252.0), 2)
    1.22

    References
    ----------
    Tobiason and Vigneswaran 1994 (abstract): constant-rate head loss grew linearly with the deposit.
    """
    for value, name, unit in (
        (filtration_rate, "filtration_rate", "m/s"), (deposit, "deposit", "kg/m^2"), (viscosity, "viscosity", "Pa*s"),
        (resistance, "resistance", "s"), (deposit_resistance, "deposit_resistance", "s*m^2/kg"),
    ):  # fmt: skip
        checks.at_least(value, 0.0, name, unit)
    return viscosity / 0.0010016 * filtration_rate * (resistance + deposit_resistance * deposit)


@worked(
    "Turbidity left by the wash in the first filtrate",
    expression="wash_turbidity * passing_share * exp(-filtration_rate * time / height)",
    reference="one stirred volume above the media; common practice, no source",
)
def remnant_turbidity(
    wash_turbidity: Annotated[Turbidity, Range(3.0, 15.0)],
    passing_share: Annotated[Fraction, Range(0.05, 0.25)],
    filtration_rate: FilterRate,
    time: Annotated[Duration, Range(0.0, 3600.0)],
    height: Annotated[Length, Range(0.3, 2.0)],
) -> Turbidity:
    """Return about the turbidity that the water left above the media by the wash adds to the first filtrate.

    It tells how long filter-to-waste should last at least; ripening takes longer.

    Parameters
    ----------
    wash_turbidity : turbidity of the wash water when the wash stopped. [NTU]
    passing_share : share of it that the bed lets through, 5 to 25 percent. [1]
    filtration_rate : filtration rate. [m/s]
    time : time since the filter was put back. [s]
    height : height of the water above the media when the wash stopped. [m]

    Returns
    -------
    Turbidity that it adds. [NTU]

    Raises
    ------
    ValueError
        If a value is below 0, the share above 1 or the height not above 0.

    Examples
    --------
    >>> round(remnant_turbidity(15.0, 0.1, 5 / 3600, 900.0, 0.6), 2)
    0.19

    References
    ----------
    Balance of mass over one stirred volume; the share is from memory.
    """
    checks.at_least(wash_turbidity, 0.0, "wash_turbidity", "NTU")
    checks.within(passing_share, 0.0, 1.0, "passing_share")
    checks.at_least(filtration_rate, 0.0, "filtration_rate", "m/s")
    checks.at_least(time, 0.0, "time", "s")
    checks.above(height, 0.0, "height", "m")
    return wash_turbidity * passing_share * checks.exp(-filtration_rate * time / height)
