"""What dose may this water want? Starting points only: jar tests and the plant's own record of good days decide."""

from typing import Annotated

from weirhouse.science import checks
from weirhouse.science.quantities import Dose, Exponent, Temperature, Turbidity
from weirhouse.working import Range, note, worked

RawTurbidity = Annotated[Turbidity, Range(2.0, 500.0)]
ColdWater = Annotated[Temperature, Range(0.0, 30.0)]


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
