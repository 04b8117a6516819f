"""How do media, backwash and chemicals, as the plant file gives them, stand to published designs?"""

from collections.abc import Iterator
from dataclasses import replace

from weirhouse.plant.item import Item
from weirhouse.plant.model import Backwash, Feed, Filter, Filters, Layer, Plant
from weirhouse.plant.ranges import OWN, DesignRange, design
from weirhouse.plant.units import area_of
from weirhouse.science.backwash import backwash_rate, backwash_to_filtration_ratio, unit_backwash_volume
from weirhouse.science.filtration import bed_depth, filtration_rate
from weirhouse.science.fluidisation import bed_rise, layer_expansion
from weirhouse.science.head_loss import mean_grain_size
from weirhouse.science.operations import equal_share
from weirhouse.working import Default, Known

WATER = 1000.0  # [kg/m^3], to which a specific gravity is counted
# a word of the media's name -> the media as the ranges name it; the first found counts
MEDIA = (("anthracite", "anthracite"), ("coal", "anthracite"), ("garnet", "garnet"), ("ilmenite", ""), ("carbon", ""),
         ("gac", ""), ("gravel", ""), ("sand", "sand"), ("silica", "sand"))  # fmt: skip


def media_of(layer: Layer) -> str:
    """Return a layer's media as the ranges name it, "" where none is published for it."""
    name = layer.media.lower()
    return next((media for word, media in MEDIA if word in name), "")


def bed(plant: Plant, place: Filter) -> Iterator[Item]:
    """Yield the figures of each layer of a filter's bed."""
    moving = [index for index, layer in enumerate(place.layer) if not layer.support]
    several = len(moving) > 1
    if moving:
        deep = bed_depth([plant.known(f"train.{place.id}.layer.{index}.depth") for index in moving])
        unit = "in" if plant.unit_set == "US" else "mm"
        yield Item("Media depth without support", deep, "m", unit, "layer", design("total media depth", "media"))
    for index, layer in enumerate(place.layer):
        ranges = _support(layer) if layer.support else _ranges(media_of(layer), several)
        for name, sort, unit in _FIELDS:
            span = ranges.get(name)
            if span is None:
                continue
            value = plant.known(f"train.{place.id}.layer.{index}.{name}")
            shown_in = unit if unit != "in" or plant.unit_set == "US" else "mm"
            title = f"{layer.media[:1].upper()}{layer.media[1:]}: {name.replace('_', ' ')}"
            yield Item(title, value, value.unit, shown_in, sort, span)


_FIELDS = (
    ("depth", "layer", "in"), ("effective_size", "size", "mm"), ("uniformity", "uniformity", "1"),
    ("density", "media", "kg/L"), ("sphericity", "media", "1"), ("porosity", "media", "1"),
)  # fmt: skip


def _ranges(media: str, several: bool) -> dict[str, DesignRange | None]:
    """Return the ranges of a media by field, in a bed of several media or alone."""
    if not media:
        return {"uniformity": design("uniformity coefficient", "media")}
    mixed = ", mixed media" if several and media != "garnet" else ""
    return {
        "depth": design(f"{media} depth{mixed}", "media"),
        "effective_size": design(f"{media} effective size{mixed}", "media"),
        "uniformity": design(f"{media} uniformity coefficient{mixed}", "media")
        or design("uniformity coefficient", "media"),
        "density": _by_density(design(f"{media} specific gravity", "media")),
        "sphericity": design(f"{media} shape factor", "media"),
        "porosity": design(f"{media} porosity", "media"),
    }


def _support(layer: Layer) -> dict[str, DesignRange | None]:
    """Return the ranges of a support of coarse sand; none is published here for gravel."""
    if media_of(layer) != "sand":
        return {}
    torpedo = "torpedo (coarse support) sand"
    return {
        "depth": design(f"{torpedo} depth", "media"),
        "effective_size": design(f"{torpedo} effective size", "media"),
        "uniformity": design(f"{torpedo} uniformity coefficient", "media"),
        "density": _by_density(design("sand specific gravity", "media")),
    }


def _by_density(span: DesignRange | None) -> DesignRange | None:
    """Return a range of specific gravity as one of density."""
    if span is None:
        return None
    low, high = (None if end is None else end * WATER for end in (span.low, span.high))
    return replace(span, low=low, high=high, inside="kg/m^3", unit="kg/L")


def wash(plant: Plant, stage: Filters, place: Filter) -> Iterator[Item]:
    """Yield the figures of a filter's backwash that hang on neither flow nor temperature."""
    given = stage.backwash
    if given is None:
        return
    at, known = f"train.{stage.id}.backwash", plant.known
    per_area, depth = ("gpm/ft^2", "gal/ft^2") if plant.unit_set == "US" else ("m/h", "m")
    several = sum(not layer.support for layer in place.layer) > 1
    rate = wash_rate(plant, stage, given)
    if rate is not None:
        yield Item("Backwash rate", rate, "m/s", per_area, "wash", _wash_range(place, several))
    if given.pump_flow is not None:
        most = backwash_rate(known(f"{at}.pump_flow"), area_of(plant, place))
        yield Item("Highest rate of the wash pump", most, "m/s", per_area, "wash")
    if given.duration is not None:
        lasting = known(f"{at}.duration")
        span = design("backwash duration, mixed media" if several else "backwash time at full rate", "backwash")
        yield Item("Backwash time", lasting, "s", "min", "wash time", span)
        if rate is not None:
            spent = unit_backwash_volume(rate, lasting)
            yield Item(
                "Wash water per area", spent, "m", depth, "wash time", design("unit backwash volume", "backwash")
            )


def wash_rate(plant: Plant, stage: Filters, given: Backwash) -> Known | None:
    """Return the usual rate of a wash, as entered."""
    return None if given.rate is None else plant.known(f"train.{stage.id}.backwash.rate")


def _wash_range(place: Filter, several: bool) -> DesignRange | None:
    if several:
        return design("backwash rate, mixed media", "backwash")
    medias = {media_of(layer) for layer in place.layer if not layer.support}
    if medias == {"sand"}:
        return design("backwash rate, sand", "backwash")
    return design("backwash rate, full-depth anthracite or carbon", "backwash") if medias == {"anthracite"} else None


def wash_at_flow(plant: Plant, stage: Filters, place: Filter, flow: Known) -> Iterator[Item]:
    """Yield how the wash stands to the filtration rate at a flow [m^3/s]."""
    rate = None if stage.backwash is None else wash_rate(plant, stage, stage.backwash)
    if rate is None:
        return
    count = len(stage.filter)
    share = equal_share(flow, Known(float(count), Default(f"{count} filters in service", "plant file"), "1"))
    ratio = backwash_to_filtration_ratio(rate, filtration_rate(share, area_of(plant, place)))
    yield Item("Backwash rate over filtration rate", ratio, "1", "1", "wash",
               design("backwash rate to filtration rate", "backwash"))  # fmt: skip


def wash_in_water(plant: Plant, stage: Filters, place: Filter, temperature: Known) -> Iterator[Item]:
    """Yield how far the wash lifts the bed in water of a temperature [degC]."""
    rate = None if stage.backwash is None else wash_rate(plant, stage, stage.backwash)
    moving = [index for index, layer in enumerate(place.layer) if not layer.support]
    if rate is None or not moving:
        return

    def of(index: int, name: str) -> Known:
        return plant.known(f"train.{place.id}.layer.{index}.{name}")

    sizes = {i: mean_grain_size(of(i, "effective_size"), of(i, "uniformity")) for i in moving}
    finest = min(moving, key=lambda i: place.layer[i].effective_size)
    grown = layer_expansion(
        rate, sizes[finest], of(finest, "porosity"), of(finest, "sphericity"), of(finest, "density"), temperature
    )  # fmt: skip
    name = place.layer[finest].media
    title = f"{name[:1].upper()}{name[1:]}: expansion in the wash"
    yield Item(title, grown, "1", "percent", "expansion", design("bed expansion", "backwash"))
    assert stage.backwash is not None
    if stage.backwash.freeboard is not None:
        rise = bed_rise(
            rate, temperature, [of(i, "depth") for i in moving], [sizes[i] for i in moving],
            *([of(i, name) for i in moving] for name in ("porosity", "sphericity", "density")),
        )  # fmt: skip
        unit = "in" if plant.unit_set == "US" else "mm"
        yield Item("Rise of the media in the wash", rise, "m", unit, "room", _room(stage.backwash.freeboard))


def _room(freeboard: float) -> DesignRange:
    return DesignRange("freeboard", "backwash", None, freeboard, "m", "m", OWN, "seen")


def terminal(plant: Plant, stage: Filters) -> Iterator[Item]:
    """Yield the head loss at which a filter is washed."""
    if stage.terminal_head_loss is not None:
        unit = "ft" if plant.unit_set == "US" else "m"
        yield Item("Head loss at which you wash", plant.known(f"train.{stage.id}.terminal_head_loss"), "m", unit,
                   "limit", design("terminal head loss", "filtration"))  # fmt: skip


def feed(plant: Plant, stage: Feed) -> Iterator[Item]:
    """Yield the figures of a chemical that published ranges speak of."""
    at = f"train.{stage.id}"
    if stage.al2o3 is not None and "polyalumin" in stage.product.lower():
        span = design("PACl Al2O3 content, minimum as supplied", "coagulant")
        yield Item("Al2O3 of the product", plant.known(f"{at}.al2o3"), "1", "percent", "product", span)
    if stage.target_residual is not None:
        span = design("free chlorine residual at entry", "chlorine")
        yield Item("Target residual", plant.known(f"{at}.target_residual"), "g/m^3", "mg/L", "residual", span)
