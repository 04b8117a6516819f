"""How is a jar test made up and read? Dose, stock and product in one jar all count the same: product, Al2O3 or Al."""

from typing import Annotated

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Concentration,
    Dose,
    Duration,
    Length,
    Number,
    SurfaceRate,
    VelocityGradient,
    Volume,
)
from weirhouse.working import Range, worked

Stock = Annotated[Concentration, Range(500.0, 20000.0)]
JarVolume = Annotated[Volume, Range(0.0005, 0.002)]
Added = Annotated[Volume, Range(1e-7, 1e-5)]
_SOURCE = "definition; common practice, no source"


@worked("Dose in a jar", expression="stock * added / jar", reference=_SOURCE)
def jar_dose(stock: Stock, added: Added, jar: JarVolume) -> Dose:
    """Return the dose that a volume of stock makes in a jar; the volume added is neglected. Counted as the stock is.

    Parameters
    ----------
    stock : strength of the stock; 1 g/L is 1000 g/m3. [g/m^3]
    added : stock put into the jar. [m^3]
    jar : water in the jar. [m^3]

    Returns
    -------
    Dose, counted as the stock is. [g/m^3]

    Raises
    ------
    ValueError
        If stock or volume added is below 0 or the jar not above 0.

    Examples
    --------
    >>> round(jar_dose(10000.0, 3.5e-6, 0.001), 2)  # 3.5 mL of 10 g/L in 1 L
    35.0

    References
    ----------
    Definition.
    """
    checks.at_least(stock, 0.0, "stock", "g/m^3")
    checks.at_least(added, 0.0, "added", "m^3")
    checks.above(jar, 0.0, "jar", "m^3")
    return stock * added / jar


@worked("Stock for a dose in a jar", expression="dose * jar / stock", reference=_SOURCE)
def stock_volume(dose: Dose, jar: JarVolume, stock: Stock) -> Volume:
    """Return the stock to put into a jar for a dose; dose and stock count the same.

    Parameters
    ----------
    dose : dose wanted, counted as the stock is. [g/m^3]
    jar : water in the jar. [m^3]
    stock : strength of the stock; 1 g/L is 1000 g/m3. [g/m^3]

    Returns
    -------
    Volume of stock. [m^3]

    Raises
    ------
    ValueError
        If dose or jar is below 0 or the stock not above 0.

    Examples
    --------
    >>> round(stock_volume(15.0, 0.001, 10000.0) * 1e6, 2)  # mL
    1.5

    References
    ----------
    Definition.
    """
    checks.at_least(dose, 0.0, "dose", "g/m^3")
    checks.at_least(jar, 0.0, "jar", "m^3")
    checks.above(stock, 0.0, "stock", "g/m^3")
    return dose * jar / stock


@worked("Settling time of a jar", expression="port_depth / overflow_rate", reference=_SOURCE)
def jar_settling_time(
    overflow_rate: Annotated[SurfaceRate, Range(5e-5, 2e-3)],
    port_depth: Annotated[Length, Range(0.05, 0.15)] = 0.10,
) -> Duration:
    """Return when to sample a jar so that it has settled as the plant's basin does at its overflow rate.

    Parameters
    ----------
    overflow_rate : overflow rate of the basin. [m/s]
    port_depth : depth of the sampling port below the surface. [m]

    Returns
    -------
    Time after the paddles stop. [s]

    Raises
    ------
    ValueError
        If the rate is not above 0 or the depth below 0.

    Examples
    --------
    >>> round(jar_settling_time(1.2 / 3600) / 60, 1)  # minutes for 1.2 m/h
    5.0

    References
    ----------
    Definition; port 10 cm below the surface in 2 L square jars.
    """
    checks.above(overflow_rate, 0.0, "overflow_rate", "m/s")
    checks.at_least(port_depth, 0.0, "port_depth", "m")
    return port_depth / overflow_rate


@worked("Stirring time of a jar", expression="plant_gt / jar_velocity_gradient", reference=_SOURCE)
def jar_mixing_time(
    plant_gt: Annotated[Number, Range(5e3, 1e5)], jar_velocity_gradient: Annotated[VelocityGradient, Range(10.0, 400.0)]
) -> Duration:
    """Return how long to stir a jar so that it has the plant's G·t of a stage.

    Parameters
    ----------
    plant_gt : G·t of the plant's stage. [1]
    jar_velocity_gradient : velocity gradient in the jar. [1/s]

    Returns
    -------
    Time. [s]

    Raises
    ------
    ValueError
        If G·t is below 0 or the gradient not above 0.

    Examples
    --------
    >>> round(jar_mixing_time(30000.0, 29.7) / 60, 1)  # minutes at 40 rpm
    16.8

    References
    ----------
    Equal G·t (common practice, no source).
    """
    checks.at_least(plant_gt, 0.0, "plant_gt")
    checks.above(jar_velocity_gradient, 0.0, "jar_velocity_gradient", "1/s")
    return plant_gt / jar_velocity_gradient
