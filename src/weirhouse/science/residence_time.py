"""When does the water come out? Steady flow through tanks in series and through pipes.

A basin behaves like a number of equal stirred tanks in series: 1 mixes at once, many come near to plug flow. Dead
corners take no part, so that only the live share of the volume counts. For a flow that changes see `passage`.
"""

from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.quantities import Duration, Flow, Fraction, Number, TimeSpread, Volume
from weirhouse.working import Range, worked

Tanks = Annotated[Number, Range(1.0, 30.0)]
LiveShare = Annotated[Fraction, Range(0.5, 1.0)]
Share = Annotated[Fraction, Range(0.01, 0.99)]
_LEVENSPIEL = "O. Levenspiel, Chemical Reaction Engineering, 3rd ed. (Wiley, 1999), ch. 14, tanks-in-series model"


def _through(volume: Any, flow: Any, live_share: Any) -> Any:
    """Return the mean time [s] of the water that moves, checked."""
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.above(flow, 0.0, "flow", "m^3/s", "With no flow the water stands still.")
    checks.above(live_share, 0.0, "live_share")
    checks.require(live_share <= 1, live_share, "live_share must not be above 1", "1 is a basin without dead corners.")
    return live_share * volume / flow


def _tanks(tanks: Any) -> None:
    checks.at_least(tanks, 0.5, "tanks", hint="1 is one stirred tank; fractions between whole numbers are allowed.")
    checks.require(tanks <= 1e4, tanks, "tanks must not be above 10000", "Take plug flow instead.")


def _share(share: Any) -> None:
    checks.above(share, 0.0, "share", hint="0.1 is the time when a tenth has left.")
    checks.require(share < 1, share, "share must be below 1", "All of it never leaves a stirred tank.")


@worked("Mean time of the water that moves", expression="live_share * volume / flow", reference=_LEVENSPIEL)
def mean_residence_time(volume: Volume, flow: Flow, live_share: LiveShare = 1.0) -> Duration:
    """Return the mean time in a basin with dead corners; for plug flow it is the time of every drop.

    Parameters
    ----------
    volume : water in the basin. [m^3]
    flow : flow through it. [m^3/s]
    live_share : share of the volume that takes part. [1]

    Returns
    -------
    Mean time. [s]

    Raises
    ------
    ValueError
        If the volume is below 0, the flow not above 0, or the share not above 0 and at most 1.

    Examples
    --------
    >>> round(mean_residence_time(45.42, 0.009464, 0.85) / 60)  # minutes
    68

    References
    ----------
    Levenspiel 1999.
    """
    return _through(volume, flow, live_share)


@worked(
    "Share that has left tanks in series",
    method="regularised incomplete gamma function of the number of tanks",
    reference=_LEVENSPIEL,
)
def share_passed(
    time: Annotated[Duration, Range(60.0, 86400.0)],
    volume: Volume,
    flow: Flow,
    tanks: Tanks,
    live_share: LiveShare = 1.0,
) -> Fraction:
    """Return the share of a parcel of water that has left a basin of tanks in series a time after it came in.

    F(t) = P(n, n t / mean time), with P the regularised lower incomplete gamma function.

    Parameters
    ----------
    time : time since the parcel came in. [s]
    volume : water in the basin. [m^3]
    flow : steady flow through it. [m^3/s]
    tanks : number of equal stirred tanks it behaves like. [1]
    live_share : share of the volume that takes part. [1]

    Returns
    -------
    Share that has left. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(share_passed(3600.0, 36.0, 0.010, tanks=1), 4)  # one mean time, one tank: 1 - 1/e
    0.6321

    References
    ----------
    Levenspiel 1999.
    """
    from scipy.special import gammainc

    checks.at_least(time, 0.0, "time", "s")
    checks.above(volume, 0.0, "volume", "m^3")
    _tanks(tanks)
    mean = _through(volume, flow, live_share)
    return _same_kind(gammainc(tanks, tanks * time / mean), time, volume, flow, tanks, live_share)


@worked(
    "Time by which a share has left tanks in series",
    method="the incomplete gamma function turned round",
    reference=_LEVENSPIEL,
)
def residence_time_quantile(
    share: Share, volume: Volume, flow: Flow, tanks: Tanks, live_share: LiveShare = 1.0
) -> Duration:
    """Return the time by which a share of a parcel has left a basin: t10 for share 0.1, the median for 0.5.

    Not for compliance: contact time there uses the baffling factor or tracer result that the State accepts.

    Parameters
    ----------
    share : share that has left. [1]
    volume : water in the basin. [m^3]
    flow : steady flow through it. [m^3/s]
    tanks : number of equal stirred tanks it behaves like. [1]
    live_share : share of the volume that takes part. [1]

    Returns
    -------
    Time. [s]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(residence_time_quantile(0.1, 36.0, 0.010, tanks=3) / 3600, 3)  # of a mean time of one hour
    0.367

    References
    ----------
    Levenspiel 1999.
    """
    from scipy.special import gammaincinv

    _share(share)
    _tanks(tanks)
    mean = _through(volume, flow, live_share)
    return _same_kind(mean * gammaincinv(tanks, share) / tanks, share, volume, flow, tanks, live_share)


@worked(
    "Share of the mean time by which a share has left",
    method="the incomplete gamma function turned round, over the number of tanks",
    reference=_LEVENSPIEL,
)
def relative_residence_time(share: Share, tanks: Tanks) -> Fraction:
    """Return the time by which a share has left, as a share of the mean time: t10/T for share 0.1.

    Parameters
    ----------
    share : share that has left. [1]
    tanks : number of equal stirred tanks. [1]

    Returns
    -------
    Time over mean time. [1]

    Raises
    ------
    ValueError
        If the share is not between 0 and 1, or there is less than half a tank.

    Examples
    --------
    >>> round(relative_residence_time(0.1, tanks=1), 3)
    0.105

    References
    ----------
    Levenspiel 1999.
    """
    from scipy.special import gammaincinv

    _share(share)
    _tanks(tanks)
    return _same_kind(gammaincinv(tanks, share) / tanks, share, tanks)


@worked(
    "Tanks in series that a tracer spread tells",
    expression="mean_time**2 / variance",
    reference=_LEVENSPIEL,
)
def tanks_from_tracer(
    mean_time: Annotated[Duration, Range(600.0, 7200.0)],
    variance: TimeSpread,
) -> Number:
    """Return how many tanks in series a basin behaves like, from the mean and the spread of a tracer's times.

    Parameters
    ----------
    mean_time : mean time of the tracer. [s]
    variance : variance of its times, the square of their standard deviation. [s^2]

    Returns
    -------
    Number of tanks. [1]

    Raises
    ------
    ValueError
        If the mean is below 0 or the variance not above 0.

    Examples
    --------
    >>> tanks_from_tracer(3600.0, 4320000.0)
    3.0

    References
    ----------
    Levenspiel 1999.
    """
    checks.at_least(mean_time, 0.0, "mean_time", "s")
    checks.above(variance, 0.0, "variance", "s^2")
    return mean_time * mean_time / variance


@worked(
    "Share that has left in plug flow",
    method="nothing until the mean time, everything from then on",
    reference="definition",
)
def plug_flow_share_passed(
    time: Annotated[Duration, Range(60.0, 86400.0)], volume: Volume, flow: Flow, live_share: LiveShare = 1.0
) -> Fraction:
    """Return the share of a parcel that has left a pipe or channel in which nothing mixes: 0, then 1.

    Parameters
    ----------
    time : time since the parcel came in. [s]
    volume : water in it. [m^3]
    flow : steady flow through it. [m^3/s]
    live_share : share of the volume that takes part. [1]

    Returns
    -------
    Share that has left. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> plug_flow_share_passed(3600.0, 36.0, 0.011)
    1.0

    References
    ----------
    Definition.
    """
    checks.at_least(time, 0.0, "time", "s")
    late = time - _through(volume, flow, live_share)
    return checks.choose(late != late, late, checks.choose(late >= 0, 1.0, 0.0))


def _same_kind(result: Any, *inputs: Any) -> Any:
    """Return a plain float when every input was a scalar: special functions answer with zero-dimensional arrays."""
    return float(result) if all(isinstance(item, float | int) for item in inputs) else result
