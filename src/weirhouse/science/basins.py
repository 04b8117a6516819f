"""How big is a basin, how long does water stay, and how fast does it move?"""

from typing import Annotated

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Area,
    Duration,
    FilterRate,
    Flow,
    Length,
    SurfaceRate,
    Velocity,
    Volume,
    WeirLoading,
)
from weirhouse.working import Range, worked

_SIDE = "Measure inside the walls."
_FLOW = "With no flow the water stands still; give the flow while the plant runs."
_SOURCE = "definition; common practice, no source"


@worked("Area of a rectangle", expression="length * width", reference=_SOURCE)
def rectangle_area(length: Annotated[Length, Range(1.0, 60.0)], width: Annotated[Length, Range(1.0, 20.0)]) -> Area:
    """Return the plan area of a rectangular basin or filter.

    Parameters
    ----------
    length : inside length. [m]
    width : inside width. [m]

    Returns
    -------
    Plan area. [m^2]

    Raises
    ------
    ValueError
        If a side is below 0.

    Examples
    --------
    >>> rectangle_area(12.0, 4.0)
    48.0

    References
    ----------
    Definition.
    """
    checks.at_least(length, 0.0, "length", "m", _SIDE)
    checks.at_least(width, 0.0, "width", "m", _SIDE)
    return length * width


@worked("Area of a circle", expression="pi / 4 * diameter**2", reference=_SOURCE)
def circle_area(diameter: Annotated[Length, Range(0.3, 30.0)]) -> Area:
    """Return the plan area of a round tank (0.785 times the diameter squared).

    Parameters
    ----------
    diameter : inside diameter. [m]

    Returns
    -------
    Plan area. [m^2]

    Raises
    ------
    ValueError
        If the diameter is below 0.

    Examples
    --------
    >>> round(circle_area(2.0), 4)
    3.1416

    References
    ----------
    Definition.
    """
    checks.at_least(diameter, 0.0, "diameter", "m", _SIDE)
    return 0.7853981633974483 * diameter * diameter


@worked("Volume of a rectangular basin", expression="length * width * depth", reference=_SOURCE)
def rectangular_volume(
    length: Annotated[Length, Range(1.0, 60.0)],
    width: Annotated[Length, Range(1.0, 20.0)],
    depth: Annotated[Length, Range(0.5, 6.0)],
) -> Volume:
    """Return the water in a rectangular basin.

    Parameters
    ----------
    length : inside length. [m]
    width : inside width. [m]
    depth : depth of the water, not of the walls. [m]

    Returns
    -------
    Water volume. [m^3]

    Raises
    ------
    ValueError
        If a side or the depth is below 0.

    Examples
    --------
    >>> rectangular_volume(12.0, 4.0, 2.5)
    120.0

    References
    ----------
    Definition.
    """
    checks.at_least(length, 0.0, "length", "m", _SIDE)
    checks.at_least(width, 0.0, "width", "m", _SIDE)
    checks.at_least(depth, 0.0, "depth", "m", "Give the depth of the water.")
    return length * width * depth


@worked("Volume of a round tank", expression="pi / 4 * diameter**2 * depth", reference=_SOURCE)
def round_volume(diameter: Annotated[Length, Range(0.3, 30.0)], depth: Annotated[Length, Range(0.1, 12.0)]) -> Volume:
    """Return the water in an upright round tank.

    Parameters
    ----------
    diameter : inside diameter. [m]
    depth : depth of the water. [m]

    Returns
    -------
    Water volume. [m^3]

    Raises
    ------
    ValueError
        If diameter or depth is below 0.

    Examples
    --------
    >>> round(round_volume(9.144, 7.0104), 1)  # 30 ft across, 23 ft deep
    460.4

    References
    ----------
    Definition.
    """
    checks.at_least(diameter, 0.0, "diameter", "m", _SIDE)
    checks.at_least(depth, 0.0, "depth", "m", "Give the depth of the water.")
    return 0.7853981633974483 * diameter * diameter * depth


@worked("Volume from area and depth", expression="area * depth", reference=_SOURCE)
def volume_from_area(area: Area, depth: Annotated[Length, Range(0.1, 12.0)]) -> Volume:
    """Return the water that stands a depth above a plan area.

    Parameters
    ----------
    area : plan area. [m^2]
    depth : depth of the water. [m]

    Returns
    -------
    Water volume. [m^3]

    Raises
    ------
    ValueError
        If area or depth is below 0.

    Examples
    --------
    >>> volume_from_area(30.0, 2.5)
    75.0

    References
    ----------
    Definition.
    """
    checks.at_least(area, 0.0, "area", "m^2")
    checks.at_least(depth, 0.0, "depth", "m", "Give the depth of the water.")
    return area * depth


@worked("Depth that a volume takes", expression="volume / area", reference=_SOURCE)
def depth_for_volume(volume: Volume, area: Area) -> Annotated[Length, Range(0.0, 20.0)]:
    """Return the depth of a volume of water over a plan area, which is also how far a level falls when it is drawn.

    Parameters
    ----------
    volume : water volume. [m^3]
    area : plan area. [m^2]

    Returns
    -------
    Depth. [m]

    Raises
    ------
    ValueError
        If the area is not above 0.

    Examples
    --------
    >>> depth_for_volume(75.0, 30.0)
    2.5

    References
    ----------
    Definition.
    """
    checks.above(area, 0.0, "area", "m^2", "Give the plan area at the water's surface.")
    return volume / area


@worked("Detention time", expression="volume / flow", reference=_SOURCE)
def detention_time(volume: Volume, flow: Flow) -> Duration:
    """Return how long the water stays on average if the whole volume takes part.

    Dead corners make it shorter, short-circuiting lets some water through much sooner.

    Parameters
    ----------
    volume : water in the basin. [m^3]
    flow : flow through it. [m^3/s]

    Returns
    -------
    Detention time. [s]

    Raises
    ------
    ValueError
        If the volume is below 0 or the flow not above 0.

    Examples
    --------
    >>> round(detention_time(45.42, 0.009464) / 60, 1)  # 12,000 gal at 150 gpm, minutes
    80.0

    References
    ----------
    Definition.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.above(flow, 0.0, "flow", "m^3/s", _FLOW)
    return volume / flow


@worked("Flow from a volume and a time", expression="volume / duration", reference=_SOURCE)
def average_flow(volume: Volume, duration: Duration) -> Flow:
    """Return the average flow when a volume passes in a time: a pumping rate, a filling test, a day's demand.

    Parameters
    ----------
    volume : volume that passed. [m^3]
    duration : time it took. [s]

    Returns
    -------
    Average flow. [m^3/s]

    Raises
    ------
    ValueError
        If the duration is not above 0.

    Examples
    --------
    >>> average_flow(18.0, 3600.0)
    0.005

    References
    ----------
    Definition.
    """
    checks.above(duration, 0.0, "duration", "s")
    return volume / duration


@worked("Volume from a flow and a time", expression="flow * duration", reference=_SOURCE)
def volume_from_flow(flow: Flow, duration: Duration) -> Volume:
    """Return the volume that a flow brings in a time.

    Parameters
    ----------
    flow : flow. [m^3/s]
    duration : time. [s]

    Returns
    -------
    Volume. [m^3]

    Raises
    ------
    ValueError
        If the duration is below 0.

    Examples
    --------
    >>> volume_from_flow(0.005, 3600.0)
    18.0

    References
    ----------
    Definition.
    """
    checks.at_least(duration, 0.0, "duration", "s")
    return flow * duration


@worked("Surface overflow rate", expression="flow / area", reference=_SOURCE)
def overflow_rate(flow: Flow, area: Area) -> SurfaceRate:
    """Return the surface overflow rate: what settles faster than this settles, at best.

    Parameters
    ----------
    flow : flow through the basin. [m^3/s]
    area : plan area of the settling zone. [m^2]

    Returns
    -------
    Overflow rate. [m/s]

    Raises
    ------
    ValueError
        If the flow is below 0 or the area not above 0.

    Examples
    --------
    >>> round(overflow_rate(0.009464, 44.59) * 3600, 3)  # 150 gpm over 480 ft2, m/h
    0.764

    References
    ----------
    Definition.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(area, 0.0, "area", "m^2", "Give the plan area of the settling zone.")
    return flow / area


@worked("Rise rate", expression="flow / area", reference=_SOURCE)
def rise_rate(flow: Flow, area: Area) -> FilterRate:
    """Return the upward velocity of the water in an upflow clarifier; floc that settles slower is carried over.

    Parameters
    ----------
    flow : flow through the clarifier. [m^3/s]
    area : open area at the level considered. [m^2]

    Returns
    -------
    Rise rate. [m/s]

    Raises
    ------
    ValueError
        If the flow is below 0 or the area not above 0.

    Examples
    --------
    >>> round(rise_rate(0.009464, 18.58) * 3600, 2)  # 150 gpm over 200 ft2, m/h
    1.83

    References
    ----------
    Definition.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(area, 0.0, "area", "m^2", "Give the open area of the clarifier.")
    return flow / area


@worked("Mean forward velocity", expression="flow / (width * depth)", reference=_SOURCE)
def mean_velocity(
    flow: Flow, width: Annotated[Length, Range(0.5, 20.0)], depth: Annotated[Length, Range(0.3, 6.0)]
) -> Velocity:
    """Return the mean forward velocity through a rectangular section.

    Parameters
    ----------
    flow : flow. [m^3/s]
    width : width of the section. [m]
    depth : depth of the water. [m]

    Returns
    -------
    Velocity. [m/s]

    Raises
    ------
    ValueError
        If width or depth is not above 0.

    Examples
    --------
    >>> round(mean_velocity(0.05, 4.0, 2.5), 4)
    0.005

    References
    ----------
    Definition.
    """
    checks.above(width, 0.0, "width", "m")
    checks.above(depth, 0.0, "depth", "m", "Give the depth of the water.")
    return flow / (width * depth)


@worked("Weir loading", expression="flow / weir_length", reference=_SOURCE)
def weir_loading(flow: Flow, weir_length: Annotated[Length, Range(1.0, 60.0)]) -> WeirLoading:
    """Return the flow over each length of weir; a long weir draws gently.

    Parameters
    ----------
    flow : flow over the weir. [m^3/s]
    weir_length : length of the edge that water runs over; both edges of a trough count. [m]

    Returns
    -------
    Weir loading. [m^2/s]

    Raises
    ------
    ValueError
        If the flow is below 0 or the length not above 0.

    Examples
    --------
    >>> round(weir_loading(0.009464, 12.192) * 3600, 3)  # 150 gpm over 40 ft, m3/h per m
    2.794

    References
    ----------
    Definition.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(weir_length, 0.0, "weir_length", "m")
    return flow / weir_length
