"""What dose may this water want? Starting points only: jar tests and the plant's own record of good days decide."""

from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Absorbance,
    AbsorbanceSlope,
    Alkalinity,
    Dose,
    Exponent,
    Index,
    Temperature,
    TemperatureSlope,
    Turbidity,
)
from weirhouse.working import Range, note, worked

RawTurbidity = Annotated[Turbidity, Range(2.0, 500.0)]
ColdWater = Annotated[Temperature, Range(0.0, 30.0)]
KnownDose = Annotated[Dose, Range(0.5, 60.0)]
UV254 = Annotated[Absorbance, Range(1.0, 60.0)]
TurbidityExponent = Annotated[Exponent, Range(0.1, 0.5)]
AlkalinityExponent = Annotated[Exponent, Range(-0.2, 0.4)]
_FOUR_TERMS = (
    "log-linear in turbidity, organic matter, temperature and alkalinity; exponents 0.25 give or take 0.12 and 0.1 give"
    " or take 0.15, slope -0.01 give or take 0.01 to the degree, all from memory"
)


def _four_terms(
    turbidity: Any, uv254: Any, temperature: Any, alkalinity: Any, names: tuple[str, str, str, str]
) -> None:
    checks.at_least(turbidity, 0.0, names[0], "NTU")
    checks.at_least(uv254, 0.0, names[1], "1/m")
    checks.within(uv254, 0.0, 500.0, names[1], "1/m", "No stream is that dark: check the unit, 0.1 1/cm is 10 1/m.")
    checks.within(temperature, -1.0, 50.0, names[2], "degC", "Check the unit of the temperature.")
    checks.above(alkalinity, 0.0, names[3], "mg/L", "Give it as CaCO3.")


def _coefficients(turbidity_exponent: Any, uv254_slope: Any, temperature_slope: Any, alkalinity_exponent: Any) -> None:
    hint = "So steep a term is a slip, or a fit to too few days."
    checks.within(turbidity_exponent, 0.0, 2.0, "turbidity_exponent", "", hint)
    checks.within(uv254_slope, -1.0, 1.0, "uv254_slope", "m", hint)
    checks.within(temperature_slope, -0.2, 0.2, "temperature_slope", "1/K", hint)
    checks.within(alkalinity_exponent, -2.0, 2.0, "alkalinity_exponent", "", hint)


@worked(
    "Dose in other water",
    expression="dose * ((new_turbidity + 1) / (turbidity + 1))**exponent",
    reference="dose rising with a power of turbidity; 0.25 give or take 0.12, from memory",
)
def dose_at_turbidity(
    dose: Annotated[Dose, Range(0.5, 60.0)],
    turbidity: RawTurbidity,
    new_turbidity: RawTurbidity,
    exponent: Annotated[Exponent, Range(0.1, 0.5)] = 0.25,
) -> Dose:
    """Return about the dose for water of another turbidity, from a dose that was right at a known one.

    Parameters
    ----------
    dose : dose that was right. [g/m^3]
    turbidity : raw turbidity that day. [NTU]
    new_turbidity : raw turbidity now. [NTU]
    exponent : power by which this stream's dose rises, at most 2; fit it on your own days. [1]

    Returns
    -------
    Dose, counted as the one given. [g/m^3]

    Raises
    ------
    ValueError
        If a value is below 0 or the exponent above 2.

    Examples
    --------
    >>> round(dose_at_turbidity(20.0, 8.0, 80.0), 1)
    34.6

    References
    ----------
    Form and exponent from memory; dose varies with the logarithm of turbidity, shifted by cold and organic matter.
    """
    checks.at_least(dose, 0.0, "dose", "mg/L")
    checks.at_least(turbidity, 0.0, "turbidity", "NTU")
    checks.at_least(new_turbidity, 0.0, "new_turbidity", "NTU")
    checks.within(exponent, 0.0, 2.0, "exponent")
    note("A starting point: make a jar test.")
    return dose * ((new_turbidity + 1) / (turbidity + 1)) ** exponent


@worked(
    "Alum dose by the square root of turbidity",
    method="12 + 4.6 sqrt(turbidity) above 10 degC, 7.2 + 3.8 sqrt(turbidity) up to 10 degC",
    reference="table of one small surface plant, university laboratory note (scribd 96681178)",
)
def alum_dose_by_turbidity(turbidity: RawTurbidity, temperature: ColdWater) -> Dose:
    """Return the alum dose that one small plant used at a turbidity; it shows the shape, not your dose.

    Parameters
    ----------
    turbidity : raw turbidity, at most 1000. [NTU]
    temperature : water temperature. [degC]

    Returns
    -------
    Dose of dry alum. [g/m^3]

    Raises
    ------
    ValueError
        If the turbidity is outside 0 to 1000 NTU or the temperature outside -1 to 50 degC.

    Examples
    --------
    >>> round(alum_dose_by_turbidity(100.0, 15.0))
    58

    References
    ----------
    Laboratory note; fitted to its table.
    """
    checks.within(turbidity, 0.0, 1000.0, "turbidity", "NTU", "The table ends far below.")
    checks.within(temperature, -1.0, 50.0, "temperature", "degC")
    note("The rule of one other plant, for the shape only.")
    root = checks.sqrt(turbidity) + 0.0 * temperature
    return checks.choose(temperature > 10, 12 + 4.6 * root, 7.2 + 3.8 * root)


@worked(
    "Dose by four terms of the water",
    expression="exp(constant + uv254_slope * uv254 + temperature_slope * (temperature - 10))"
    " * (turbidity + 1)**turbidity_exponent * alkalinity**alkalinity_exponent",
    reference=_FOUR_TERMS,
)
def dose_by_regression(
    turbidity: RawTurbidity, uv254: UV254, temperature: ColdWater, alkalinity: Alkalinity,
    constant: Annotated[Index, Range(-1.0, 3.0)], uv254_slope: AbsorbanceSlope,
    turbidity_exponent: TurbidityExponent = 0.25,
    temperature_slope: TemperatureSlope = -0.01, alkalinity_exponent: AlkalinityExponent = 0.1,
) -> Annotated[Dose, Range(0.1, 100.0)]:  # fmt: skip
    """Return the dose by a regression fitted to one's own good days, on four properties of the raw water.

    Parameters
    ----------
    turbidity : turbidity of the water that is dosed. [NTU]
    uv254 : absorbance at 254 nm, which stands for organic matter. [1/m]
    temperature : water temperature. [degC]
    alkalinity : alkalinity as CaCO3. [g/m^3]
    constant : constant of the fit: logarithm of the dose [mg/L] where every other term is 0. [1]
    uv254_slope : rise of the logarithm with absorbance. [m]
    turbidity_exponent : power by which the dose rises with turbidity. [1]
    temperature_slope : change of the logarithm with temperature. [1/K]
    alkalinity_exponent : power by which the dose rises with alkalinity. [1]

    Returns
    -------
    Dose, counted as those of the fit. [g/m^3]

    Raises
    ------
    ValueError
        If a property of the water cannot be, or a coefficient is far steeper than any plant's.

    Examples
    --------
    >>> round(dose_by_regression(10.0, 12.0, 5.0, 40.0, 1.6, 0.02), 1)
    17.4

    References
    ----------
    Form: dose varies with the logarithm of turbidity, shifted by temperature and organics; starting values from memory.
    """
    _four_terms(turbidity, uv254, temperature, alkalinity, ("turbidity", "uv254", "temperature", "alkalinity"))
    _coefficients(turbidity_exponent, uv254_slope, temperature_slope, alkalinity_exponent)
    checks.within(constant, -10.0, 10.0, "constant", "", "It is the logarithm of a dose.")
    note("A starting point: make a jar test.")
    grown = (turbidity + 1) ** turbidity_exponent * alkalinity**alkalinity_exponent
    return checks.exp(constant + uv254_slope * uv254 + temperature_slope * (temperature - 10)) * grown


@worked(
    "Dose where turbidity, absorbance, temperature and alkalinity differ",
    expression="dose * ((new_turbidity + 1) / (turbidity + 1))**turbidity_exponent"
    " * exp(uv254_slope * (new_uv254 - uv254) + temperature_slope * (new_temperature - temperature))"
    " * (new_alkalinity / alkalinity)**alkalinity_exponent",
    reference=_FOUR_TERMS,
)
def dose_in_other_water(
    dose: KnownDose, turbidity: RawTurbidity, new_turbidity: RawTurbidity, uv254: UV254, new_uv254: UV254,
    temperature: ColdWater, new_temperature: ColdWater, alkalinity: Alkalinity, new_alkalinity: Alkalinity,
    uv254_slope: AbsorbanceSlope,
    turbidity_exponent: TurbidityExponent = 0.25,
    temperature_slope: TemperatureSlope = -0.01, alkalinity_exponent: AlkalinityExponent = 0.1,
) -> Annotated[Dose, Range(0.1, 100.0)]:  # fmt: skip
    """Return about the dose for other water, from a dose that was right in known water, by four terms.

    Parameters
    ----------
    dose : dose that was right. [g/m^3]
    turbidity : turbidity that day. [NTU]
    new_turbidity : turbidity now. [NTU]
    uv254 : absorbance at 254 nm that day. [1/m]
    new_uv254 : absorbance now. [1/m]
    temperature : water temperature that day. [degC]
    new_temperature : water temperature now. [degC]
    alkalinity : alkalinity that day, as CaCO3. [g/m^3]
    new_alkalinity : alkalinity now, as CaCO3. [g/m^3]
    uv254_slope : rise of the dose's logarithm with absorbance; 0 leaves organic matter out. [m]
    turbidity_exponent : power by which this stream's dose rises with turbidity. [1]
    temperature_slope : change of the dose's logarithm with temperature. [1/K]
    alkalinity_exponent : power by which it rises with alkalinity. [1]

    Returns
    -------
    Dose, counted as the one given. [g/m^3]

    Raises
    ------
    ValueError
        If a property of the water cannot be, or a coefficient is far steeper than any plant's.

    Examples
    --------
    >>> round(dose_in_other_water(20.0, 8.0, 80.0, 10.0, 15.0, 10.0, 5.0, 40.0, 30.0, 0.02), 1)
    39.1

    References
    ----------
    Form and starting values from memory; fit them on your own days.
    """
    checks.at_least(dose, 0.0, "dose", "mg/L")
    _four_terms(turbidity, uv254, temperature, alkalinity, ("turbidity", "uv254", "temperature", "alkalinity"))
    new = ("new_turbidity", "new_uv254", "new_temperature", "new_alkalinity")
    _four_terms(new_turbidity, new_uv254, new_temperature, new_alkalinity, new)
    _coefficients(turbidity_exponent, uv254_slope, temperature_slope, alkalinity_exponent)
    note("A starting point: make a jar test.")
    clearer = ((new_turbidity + 1) / (turbidity + 1)) ** turbidity_exponent
    shifted = checks.exp(uv254_slope * (new_uv254 - uv254) + temperature_slope * (new_temperature - temperature))
    return dose * clearer * shifted * (new_alkalinity / alkalinity) ** alkalinity_exponent
