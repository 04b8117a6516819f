"""Which coefficients fit this plant's own good days? The dose by four terms, fitted so that odd days weigh little.

The logarithm of the dose is linear in ln(turbidity + 1), UV254 [1/m], temperature less 10 [degC] and ln alkalinity. A
prior holds the coefficients near what other waters show until the days say otherwise.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weirhouse.science.dose_band import FARTHEST

Floats = NDArray[np.float64]
TERMS = ("constant", "turbidity_exponent", "uv254_slope", "temperature_slope", "alkalinity_exponent")
# from memory; for UV254 no slope is known that would hold for more than one water, so its prior is wide
PRIOR = (0.0, 0.25, 0.02, -0.01, 0.1)
PRIOR_SPREAD = (math.inf, 0.12, 0.05, 0.01, 0.15)
HUBER = 1.345  # spreads beyond which a miss counts by its size only; 95 percent as sharp as least squares (Huber 1964)
LEAST_SPREAD = 0.01  # of logarithms: no dose is set closer than a hundredth


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseFit:
    """A fitted dose: its coefficients by the terms' order, the spread of a day's logarithm, and what it knew."""

    coefficients: Floats
    spread: float
    covariance: NDArray[np.floating]  # of the coefficients, over the square of the spread
    days: int
    greatest_turbidity: float

    def dose(self, turbidity: Any, uv254: Any, temperature: Any, alkalinity: Any, *, beyond: bool = False) -> Any:
        """Return the dose, counted as those of the days; ValueError far beyond the greatest turbidity of the record.

        `beyond` takes the dose there all the same: say so wherever it is shown.
        """
        if not beyond and np.any(np.asarray(turbidity) > FARTHEST * self.greatest_turbidity):
            raise ValueError(
                f"turbidity must be at most {FARTHEST:g} times the greatest of the record, "
                f"{self.greatest_turbidity:g} NTU; it is {np.nanmax(turbidity):g}. Make a jar test."
            )
        return np.exp(_terms(turbidity, uv254, temperature, alkalinity) @ self.coefficients)

    def interval(self, turbidity: Any, uv254: Any, temperature: Any, alkalinity: Any, confidence: float = 0.8) -> Any:
        """Return the lower and upper end between which a share `confidence` of such days' doses lie."""
        from scipy.special import stdtrit

        x = _terms(turbidity, uv254, temperature, alkalinity)
        leverage = np.einsum("...i,ij,...j->...", x, self.covariance, x)
        half = stdtrit(self.days - len(TERMS), (1 + confidence) / 2) * self.spread * np.sqrt(1 + leverage)
        middle = self.dose(turbidity, uv254, temperature, alkalinity)
        return middle * np.exp(-half), middle * np.exp(half)


def _terms(turbidity: Any, uv254: Any, temperature: Any, alkalinity: Any) -> Floats:
    one = np.ones(np.broadcast(turbidity, uv254, temperature, alkalinity).shape)
    columns = (one, np.log1p(turbidity) * one, uv254 * one, (temperature - 10.0) * one, np.log(alkalinity) * one)
    return np.stack(columns, axis=-1)


def fit_dose(
    dose: Floats, turbidity: Floats, uv254: Floats, temperature: Floats, alkalinity: Floats,
    prior: tuple[float, ...] = PRIOR, prior_spread: tuple[float, ...] = PRIOR_SPREAD,
) -> DoseFit:  # fmt: skip
    """Return the fit to days of a right dose [g/m^3] in known water; days with a gap are left out.

    Raises ValueError where fewer than eight days are whole, or a dose or an alkalinity is not above 0.
    """
    table = np.column_stack([dose, turbidity, uv254, temperature, alkalinity]).astype(float)
    table = table[np.isfinite(table).all(axis=1)]
    if len(table) < len(TERMS) + 3:
        raise ValueError(f"a fit needs {len(TERMS) + 3} whole days or more; there are {len(table)}. Make jar tests.")
    if (table[:, [0, 4]] <= 0).any() or (table[:, 1] < 0).any():
        raise ValueError("dose and alkalinity must be above 0 and turbidity not below it on every day. Mend the days.")
    x, y = _terms(table[:, 1], table[:, 2], table[:, 3], table[:, 4]), np.log(table[:, 0])
    weight, spread = np.ones(len(y)), 0.2
    found, tied = np.array(prior), np.zeros((len(TERMS), len(TERMS)))
    for _ in range(200):
        tied = np.diag((spread / np.array(prior_spread)) ** 2)
        try:
            new = np.linalg.solve(x.T * weight @ x + tied, x.T * weight @ y + tied @ np.array(prior))
        except np.linalg.LinAlgError:
            raise ValueError("the days do not tell the terms apart; a term without prior never varies.") from None
        miss = y - x @ new
        free = math.sqrt(len(y) / (len(y) - len(TERMS)))  # the fit has taken up some of the misses
        spread = max(LEAST_SPREAD, float(np.median(np.abs(miss))) / 0.6745 * free)
        weight = np.minimum(1.0, HUBER * spread / np.maximum(np.abs(miss), 1e-12))
        settled = bool(np.abs(new - found).max() < 1e-10)
        found = new
        if settled:
            break
    return DoseFit(
        coefficients=found, spread=spread, covariance=np.linalg.inv(x.T * weight @ x + tied),
        days=len(y), greatest_turbidity=float(table[:, 1].max()),
    )  # fmt: skip


def held_out_misses(
    dose: Floats, turbidity: Floats, uv254: Floats, temperature: Floats, alkalinity: Floats, events: NDArray[Any],
    fit: Callable[..., DoseFit] = fit_dose,
) -> Floats:  # fmt: skip
    """Return each day's ln(dose given / dose fitted) by a fit that has not seen any day of the same event.

    Days of one storm are alike, so that a fit which saw its neighbour would seem better than it is.
    """
    water = (turbidity, uv254, temperature, alkalinity)
    misses = np.full(len(dose), np.nan)
    for event in np.unique(events):
        out = events == event
        kept = fit(dose[~out], *(column[~out] for column in water))
        misses[out] = np.log(dose[out] / kept.dose(*(column[out] for column in water), beyond=True))
    return misses


def gaussian_process(
    x: Floats, y: Floats, at: Floats, lengths: Floats, height: float, noise: float
) -> tuple[Floats, Floats]:
    """Return mean and spread of what the fit left over, at other places, by a Gaussian process with fixed lengths.

    Kernel height^2 exp(-sum (difference / length)^2 / 2); x and at have one row a day, y the misses, noise their own
    spread. The linear fit alone is the better choice until there are thirty events or jar sets.
    """

    def kernel(a: Floats, b: Floats) -> Floats:
        apart = (a[:, None, :] - b[None, :, :]) / lengths
        found: Floats = height**2 * np.exp(-0.5 * (apart**2).sum(axis=-1))
        return found

    root = np.linalg.cholesky(kernel(x, x) + noise**2 * np.eye(len(y)))
    across = np.linalg.solve(root, kernel(x, at))
    mean = across.T @ np.linalg.solve(root, y)
    return mean, np.sqrt(np.maximum(0.0, height**2 - (across**2).sum(axis=0)))
