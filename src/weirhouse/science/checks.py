"""Is this input one the formula can bear? Refusals that say what to do, and scalar-or-array helpers.

Scalars stay off NumPy here: a formula called for one number must cost about a microsecond.
"""

import math
from typing import Any, NoReturn

import numpy as np


def require(ok: Any, value: Any, rule: str, hint: str = "") -> None:
    """Raise ValueError ``rule; item N is X. hint`` where `ok` is known to be false.

    A NaN in `value` passes: a gap in the data is a gap in the answer, not a mistake. Items count from 1.

    >>> require(3.0 > 0, 3.0, "diameter must be above 0 m")
    >>> require(0.0 > 0, 0.0, "diameter must be above 0 m", "Give the inside diameter.")
    Traceback (most recent call last):
    ValueError: diameter must be above 0 m; it is 0. Give the inside diameter.
    """
    if ok is True:
        return
    if isinstance(ok, np.ndarray) and ok.ndim:
        if not ok.all():
            _require_each(ok, value, rule, hint)
    elif not ok and value == value:  # NaN differs from itself
        _refuse(rule, "it is", value, hint)


def refuse(wrong: Any, value: Any, rule: str, hint: str = "") -> None:
    """Raise ValueError as `require` does, where `wrong` holds.

    For comparing two inputs: a comparison with NaN does not hold, so that a gap in either passes.

    >>> refuse(2.0 > float("nan"), 2.0, "weak must not be above strong")
    >>> refuse(2.0 > 1.0, 2.0, "weak must not be above strong")
    Traceback (most recent call last):
    ValueError: weak must not be above strong; it is 2.
    """
    if wrong is False:
        return
    if isinstance(wrong, np.ndarray) and wrong.ndim:
        if wrong.any():
            _require_each(~wrong, value, rule, hint)
    elif wrong:
        _refuse(rule, "it is", value, hint)


def _require_each(ok: Any, value: Any, rule: str, hint: str) -> None:
    good, values = np.broadcast_arrays(ok, value)
    bad = np.flatnonzero(~good & ~np.isnan(values))
    if bad.size:
        _refuse(rule, f"item {bad[0] + 1} is", values.flat[bad[0]], hint)


def _refuse(rule: str, item: str, value: Any, hint: str) -> NoReturn:
    raise ValueError(f"{rule}; {item} {float(value):.6g}." + (f" {hint}" if hint else ""))


def all_finite(value: Any) -> bool:
    """Return whether `value`, scalar or array, holds neither NaN nor infinity."""
    return math.isfinite(value) if isinstance(value, float | int) else bool(np.isfinite(value).all())


def exp(x: Any) -> Any:
    """Return e to the power `x`."""
    return math.exp(x) if isinstance(x, float | int) else np.exp(x)


def ln(x: Any) -> Any:
    """Return the natural logarithm of `x`, which the caller has found to be above 0."""
    return math.log(x) if isinstance(x, float | int) else np.log(x)


def log10(x: Any) -> Any:
    """Return the logarithm to base 10 of `x`, which the caller has found to be above 0."""
    return math.log10(x) if isinstance(x, float | int) else np.log10(x)


def sqrt(x: Any) -> Any:
    """Return the square root of `x`, which the caller has found to be not below 0."""
    return math.sqrt(x) if isinstance(x, float | int) else np.sqrt(x)


def least(a: Any, b: Any) -> Any:
    """Return the lesser of `a` and `b`, item by item; NaN where either is NaN."""
    if isinstance(a, float | int) and isinstance(b, float | int):
        return a if a <= b or a != a else b
    return np.minimum(a, b)


def most(a: Any, b: Any) -> Any:
    """Return the greater of `a` and `b`, item by item; NaN where either is NaN."""
    if isinstance(a, float | int) and isinstance(b, float | int):
        return a if a >= b or a != a else b
    return np.maximum(a, b)


def choose(condition: Any, yes: Any, no: Any) -> Any:
    """Return `yes` where `condition` holds, else `no`; both are already worked out."""
    if isinstance(condition, bool | np.bool_):
        return yes if condition else no
    return np.where(condition, yes, no)


def above(value: Any, limit: float, name: str, unit: str = "", hint: str = "") -> None:
    """Raise ValueError unless `value` is above `limit`; NaN passes. The words are only put together on failure."""
    if type(value) is float and value > limit:
        return
    require(value > limit, value, f"{name} must be above {limit:g} {unit}".rstrip(), hint)


def at_least(value: Any, limit: float, name: str, unit: str = "", hint: str = "") -> None:
    """Raise ValueError if `value` is below `limit`; NaN passes."""
    if type(value) is float and value >= limit:
        return
    require(value >= limit, value, f"{name} must not be below {limit:g} {unit}".rstrip(), hint)


def within(value: Any, low: float, high: float, name: str, unit: str = "", hint: str = "") -> None:
    """Raise ValueError unless `value` lies from `low` to `high`; NaN passes."""
    if type(value) is float and low <= value <= high:
        return
    rule = f"{name} must be from {low:g} to {high:g} {unit}".rstrip()
    require((value >= low) & (value <= high), value, rule, hint)
