"""Plant files for the tests: Emberly, and other people's plants."""

from collections.abc import Callable
from importlib.resources import files

from weirhouse.plant import Plant, parse_plant

EMBERLY = files("weirhouse.demo").joinpath("emberly.toml").read_text("utf-8")


def changed(old: str, new: str, text: str = EMBERLY) -> str:
    """Return a plant file with its first `old` made `new`; fails when there is none."""
    assert old in text, old
    return text.replace(old, new, 1)


def without(start: str, end: str, text: str = EMBERLY) -> str:
    """Return a plant file without what stands from `start` up to `end`."""
    a = text.index(start)
    return text[:a] + text[text.index(end, a + 1) :]


def stage_out(id: str, text: str = EMBERLY) -> str:
    """Return a plant file without one stage of its train."""
    here = text.index(f'\nid = "{id}"')
    start = text.rindex("[[train]]", 0, here)
    end = min(p for p in (text.find("[[train]]", here), text.find("[permit]", here)) if p > 0)
    return text[:start] + text[end:]


def emberly() -> Plant:
    """Return the plant of Emberly."""
    return parse_plant(EMBERLY)


_HEAD = """
[plant]
name = "{name}"
system_id = "{name}-1"
time_zone = "{zone}"
units = "{units}"
"""
_LAYER = """
[[train.filter.layer]]
media = "sand"
depth = "0.7 m"
effective_size = "0.55 mm"
uniformity = 1.5
density = "2650 kg/m3"
sphericity = 0.8
porosity = 0.43
"""


def one_filter_si() -> str:
    """Return a small plant in SI units: a coagulant in a pipe, one round filter, two contact tanks, no storage."""
    return (
        _HEAD.format(name="Aubach", zone="Europe/Berlin", units="SI")
        + """
design_flow = "3 L/s"
[[train]]
kind = "source"
id = "brook"
name = "Brook"
[[train]]
kind = "feed"
id = "alum"
name = "Alum"
role = "coagulant"
product = "aluminium sulfate solution"
basis = "Al2O3"
al2o3 = "8.3 percent"
basicity = "0 percent"
density = "1.33 kg/L"
hazard = "corrosive"
day_tank = { diameter = "60 cm", full = "80 cm" }
[[train]]
kind = "mixer"
id = "static"
name = "Mixer in the line"
type = "in_line"
volume = "12 L"
head_loss = "0.4 m"
head_loss_flow = "3 L/s"
[[train]]
kind = "filters"
id = "filters"
name = "Filter"
[[train.filter]]
id = "only"
name = "The filter"
diameter = "1.6 m"
"""
        + _LAYER
        + """
[[train]]
kind = "feed"
id = "chlorine"
name = "Chlorine"
role = "disinfectant"
product = "sodium hypochlorite solution"
basis = "Cl2"
strength = "10 percent"
strength_basis = "weight_per_weight"
density = "1.15 kg/L"
hazard = "oxidiser"
day_tank = { diameter = "40 cm", full = "60 cm" }
[[train]]
kind = "contact"
id = "first"
name = "First contact tank"
volume = "20 m3"
full_level = "2 m"
tracer = { t10 = "40 min", flow = "3 L/s" }
[[train]]
kind = "contact"
id = "second"
name = "Second contact tank"
volume = "15 m3"
area = "7.5 m2"
full_level = "2 m"
low_level = "1 m"
baffling_factor = 0.3
[channel.plant_flow]
name = "Flow"
unit = "L/s"
[channel.raw_turbidity]
name = "Raw turbidity"
unit = "FNU"
"""
    )


def four_filters() -> str:
    """Return Emberly with four filters alike."""
    more = "".join(
        f'[[train.filter]]\nid = "filter_{n}"\nname = "Filter {n}"\nsame_as = "filter_1"\n\n' for n in (3, 4)
    )
    return changed('same_as = "filter_1"\n', f'same_as = "filter_1"\n\n{more}')


OTHERS: dict[str, Callable[[], str]] = {
    "one filter, SI": one_filter_si,
    "four filters": four_filters,
    "no flocculation": lambda: stage_out("flocculation"),
    "no clarifier": lambda: stage_out("clarifier"),
    "no storage": lambda: stage_out("hill_tank"),
    "no settling basin": lambda: stage_out("settling_basin"),
    "no feeds": lambda: stage_out("chlorine", stage_out("coagulant")),
}
