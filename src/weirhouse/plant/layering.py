"""Can the layers of a filter be so, and will they lie so after a wash?"""

import itertools
from collections.abc import Iterator

from weirhouse.plant.finding import Finding
from weirhouse.plant.model import Filter, Layer
from weirhouse.science.fluidisation import expanded_porosity, fluidised_density
from weirhouse.science.head_loss import mean_grain_size
from weirhouse.science.properties import dynamic_viscosity, water_density

COMMON = "common practice, no source"
AT = 10.0  # [degC], the water in which layers are compared
SIZES = (5e-5, 0.1)  # [m], of anything used in a filter
DENSITIES = (1050.0, 5500.0)  # [kg/m^3]: heavier than water, no heavier than iron ores
POROSITIES = (0.3, 0.75)
DEEPEST = 3.0  # [m]


def bed_doubts(one: Filter, wash_rate: float | None) -> Iterator[Finding]:
    """Yield what can hardly be so of a filter's layers; `wash_rate` is the usual rate of a wash [m/s]."""
    for number, layer in enumerate(one.layer, start=1):
        for text in _layer(layer):
            yield _odd(one, f"layer {number}, {layer.media}: {text}")
    if one.layer and all(layer.support for layer in one.layer):
        yield _odd(one, "every layer is marked as support: nothing is left to filter with")
    for upper, lower in itertools.pairwise(one.layer):
        if upper.support and not lower.support:
            yield _odd(
                one, f"{upper.media} is marked as support and lies above {lower.media}: list layers from the top"
            )
    moving = [layer for layer in one.layer if not layer.support]
    for upper, lower in itertools.pairwise(moving):
        if _sound(upper) and _sound(lower) and _turns_over(upper, lower, wash_rate):
            yield _odd(
                one,
                f"a wash would lay {upper.media} below {lower.media}: list layers from the top down, "
                "or mark what carries the bed with support = true",
            )


def _odd(one: Filter, text: str) -> Finding:
    return Finding("implausible", one.id, one.name, f"{text[:1].upper()}{text[1:]}.", source=COMMON)


def _layer(layer: Layer) -> Iterator[str]:
    if not SIZES[0] <= layer.effective_size <= SIZES[1]:
        yield "its effective size is that of no filter media; look at its unit"
    if layer.depth > DEEPEST:
        yield f"it lies more than {DEEPEST:g} m deep; look at its unit"
    if layer.density <= 1000:
        yield "its density is not above that of water, so it would float"
    elif not DENSITIES[0] <= layer.density <= DENSITIES[1]:
        yield "its density is that of no filter media; look at its unit"
    if not POROSITIES[0] <= layer.porosity <= POROSITIES[1]:
        yield f"a porosity of {layer.porosity:g} is that of no filter bed; beds have 0.35 to 0.6"


def _sound(layer: Layer) -> bool:
    return next(_layer(layer), None) is None


def _turns_over(upper: Layer, lower: Layer, wash_rate: float | None) -> bool:
    """Whether the upper layer is the heavier one in a wash: of two lifted layers the lighter comes to lie on top."""
    if wash_rate is None:
        return (upper.density, upper.effective_size) > (lower.density, lower.effective_size)
    return _washed_density(upper, wash_rate) > _washed_density(lower, wash_rate)


def _washed_density(layer: Layer, wash_rate: float) -> float:
    size = mean_grain_size(layer.effective_size, layer.uniformity)
    density, viscosity = water_density(AT), dynamic_viscosity(AT)
    porosity = expanded_porosity(
        wash_rate, size, layer.porosity, layer.sphericity, layer.density, density, viscosity
    )  # fmt: skip
    return float(fluidised_density(porosity, layer.density, density))
