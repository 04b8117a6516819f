"""How is a jar test made up and read? Dose, stock and product in one jar all count the same: product, Al2O3 or Al."""

import math
from collections.abc import Sequence
from typing import Annotated

import numpy as np

from weirhouse.science import checks
from weirhouse.science.mixing import paddle_power, velocity_gradient_from_power
from weirhouse.science.properties import dynamic_viscosity
from weirhouse.science.quantities import (
    PH,
    Concentration,
    Dose,
    Duration,
    Length,
    Number,
    Several,
    Speed,
    SurfaceRate,
    Temperature,
    VelocityGradient,
    Volume,
)
from weirhouse.working import Range, note, worked

Stock = Annotated[Concentration, Range(500.0, 20000.0)]
JarVolume = Annotated[Volume, Range(0.0005, 0.002)]
Added = Annotated[Volume, Range(1e-7, 1e-5)]
Doses = Annotated[Sequence[float], Several("g/m^3", us="mg/L", si="mg/L", low=2.0, high=60.0)]
PHs = Annotated[Sequence[float], Several("pH", us="pH", si="pH", low=5.0, high=8.0)]
Turbidities = Annotated[Sequence[float], Several("NTU", us="NTU", si="NTU", low=0.3, high=20.0)]
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


@worked(
    "Velocity gradient in a jar",
    method="power of the paddle in the water, then sqrt(power / (viscosity x volume)), at the water's temperature",
    reference="T. R. Camp 1955; drag coefficient 1.8 of a 76 x 25 mm paddle, course slides",
)
def jar_velocity_gradient(
    speed: Annotated[Speed, Range(0.2, 5.0)],
    temperature: Annotated[Temperature, Range(0.0, 30.0)],
    jar: Annotated[Volume, Range(0.001, 0.002)] = 0.002,
) -> VelocityGradient:
    """Return about the velocity gradient G in a square jar of a usual tester (paddle 76 x 25 mm).

    Parameters
    ----------
    speed : turns of the paddle per time. [1/s]
    temperature : water temperature, -1 to 60. [degC]
    jar : water in the jar. [m^3]

    Returns
    -------
    Velocity gradient. [1/s]

    Raises
    ------
    ValueError
        If the speed is below 0, the jar not above 0 or the temperature out of range.

    Examples
    --------
    >>> round(jar_velocity_gradient(100 / 60, 20.0))  # 100 rpm
    118

    References
    ----------
    Camp 1955. Baffles or a round jar change it: take the maker's curve where there is one.
    """
    checks.at_least(speed, 0.0, "speed", "1/s")
    checks.above(jar, 0.0, "jar", "m^3")
    return velocity_gradient_from_power(paddle_power(speed), dynamic_viscosity(temperature), jar)


def _least_on_parabola(settings: Sequence[float], turbidities: Sequence[float], name: str) -> float:
    """Return where a parabola through the logarithms of the turbidities is least, within the settings tried."""
    x, turbidity = np.asarray(settings, dtype=float), np.asarray(turbidities, dtype=float)
    if x.size != turbidity.size or len(set(x.tolist())) < 4:
        raise ValueError(
            f"{name} must have four different values or more, one for each turbidity; there are {x.size} and"
            f" {turbidity.size}. Take the jars that were stirred and settled alike."
        )
    if np.isnan(x).any() or np.isnan(turbidity).any():
        return math.nan
    checks.above(float(turbidity.min()), 0.0, "each turbidity", "NTU")
    middle, half = (x.max() + x.min()) / 2, (x.max() - x.min()) / 2
    bend, slope, _ = np.polyfit((x - middle) / half, np.log(turbidity), 2)
    if bend > 0 and abs(slope) <= 2 * bend:
        return float(middle - half * slope / (2 * bend))
    note("The least lies at the end of what was tried: make another set beyond it.")
    return float(x.max() if slope < 0 else x.min())


@worked(
    "Best dose of a jar test",
    method="least of a parabola fitted to the logarithm of the settled turbidity on dose, within the doses tried",
    reference="least squares; common practice, no source",
)
def jar_optimum_dose(doses: Doses, turbidities: Turbidities) -> Dose:
    """Return the dose of least settled turbidity in a set of jars; look at the jars before you believe it.

    Parameters
    ----------
    doses : dose of each jar. [g/m^3]
    turbidities : settled turbidity of each jar. [NTU]

    Returns
    -------
    Dose, counted as the doses are. [g/m^3]

    Raises
    ------
    ValueError
        If there are fewer than four different doses, the lists differ in length or a turbidity is not above 0.

    Examples
    --------
    >>> round(jar_optimum_dose([5, 7, 10, 12, 15, 20], [14, 9.5, 5, 4.5, 6, 13]), 1)
    12.6

    References
    ----------
    Jar set of M. L. Davis, Water and Wastewater Engineering (2010), p. 6-18, who reads 12.5 mg/L off his curve.
    """
    return _least_on_parabola(doses, turbidities, "doses")


@worked(
    "Best pH of a jar test",
    method="least of a parabola fitted to the logarithm of the settled turbidity on pH, within the pH tried",
    reference="least squares; common practice, no source",
)
def jar_optimum_ph(phs: PHs, turbidities: Turbidities) -> PH:
    """Return the pH of least settled turbidity in a set of jars of one dose.

    Parameters
    ----------
    phs : pH of each jar. [pH]
    turbidities : settled turbidity of each jar. [NTU]

    Returns
    -------
    pH. [pH]

    Raises
    ------
    ValueError
        If there are fewer than four different pH, the lists differ in length or a turbidity is not above 0.

    Examples
    --------
    >>> round(jar_optimum_ph([5, 5.5, 6, 6.5, 7, 7.5], [11, 7, 5.5, 5.7, 8, 13]), 2)
    6.17

    References
    ----------
    Jar set of M. L. Davis, Water and Wastewater Engineering (2010), p. 6-19, who would test again at 6.25.
    """
    return _least_on_parabola(phs, turbidities, "phs")
