"""Which of the plant's own values could stand in a formula? Suggestions by the argument's name, unit and subject.

One candidate is unambiguous and may be filled in on asking; several are left to the person to choose between. A reading
that advice would not stand on is not suggested either.
"""

from collections.abc import Callable, Sequence

from weirhouse.plant.model import Mixer
from weirhouse.situation.model import Situation
from weirhouse.working import Argument, Formula, Known

Candidates = Callable[[Situation], Sequence[Known | None]]


def _readings(*channels: str) -> Candidates:
    return lambda situation: [situation.value(channel).usable for channel in channels]


def _plant_flow(situation: Situation) -> Sequence[Known | None]:
    """The flow now, or the usual one while the plant stands."""
    if situation.running.state == "standing":
        return [situation.usual_flow]
    return [situation.value(situation.flow_channel).usable]


def _peak(situation: Situation) -> Sequence[Known | None]:
    """The highest flow of the last hour: what contact time counts by."""
    peak = situation.outflow_peak
    return [peak if peak is not None and peak > 0 else None]


def _entries(what: str, *kinds: type) -> Candidates:
    def found(situation: Situation) -> Sequence[Known | None]:
        plant = situation.plant
        paths = [f"train.{stage.id}.{what}" for stage in plant.stages if not kinds or isinstance(stage, kinds)]
        return [plant.known(path) for path in paths if path in plant.entries]

    return found


def _altitude(situation: Situation) -> Sequence[Known | None]:
    return [situation.plant.known("plant.altitude") if "plant.altitude" in situation.plant.entries else None]


_RAW = _readings("raw_temperature")
_TEMPERATURES = _readings("raw_temperature", "contact_temperature")
# Not here: the volume that counts for contact time, which is the one at the lowest level of the hour.
# argument, inside unit -> subject (module of science) -> candidates
_RULES: dict[tuple[str, str], dict[str, Candidates]] = {
    ("flow", "m^3/s"): {
        **dict.fromkeys(("basins", "settling", "feed", "mixing", "residence_time", "residuals"), _plant_flow),
        "chlorine": _plant_flow, "contact_time": _peak,
    },
    ("temperature", "degC"): {
        **dict.fromkeys(("contact_time", "chlorine"), _readings("contact_temperature")),
        **dict.fromkeys(("coagulant_dose", "coagulation", "flocculation", "clarification"), _RAW),
        **dict.fromkeys(("properties", "carbonate", "stability", "head_loss", "fluidisation"), _TEMPERATURES),
    },
    ("ph", "pH"): {
        **dict.fromkeys(("contact_time", "chlorine"), _readings("contact_ph")),
        "coagulation": _readings("raw_ph"),
        **dict.fromkeys(("carbonate", "stability"), _readings("raw_ph", "settled_ph", "contact_ph")),
    },
    ("alkalinity", "g/m^3"): dict.fromkeys(("coagulation", "organic_carbon"), _readings("raw_alkalinity")),
    ("free_chlorine", "g/m^3"): {"contact_time": _readings("contact_chlorine")},
    ("turbidity", "NTU"): {"coagulant_dose": _readings("raw_turbidity")},
    ("volume", "m^3"): {
        "mixing": _entries("volume", Mixer),
        **dict.fromkeys(("basins", "residence_time"), _entries("volume")),
    },
    ("baffling_factor", "1"): {"contact_time": _entries("baffling_factor")},
    ("altitude", "m"): dict.fromkeys(("pumps", "properties"), _altitude),
}  # fmt: skip


def candidates(formula: Formula, argument: Argument, situation: Situation) -> list[Known]:
    """Return the plant's values that an argument of a formula could take: none, one, or several to choose between."""
    if argument.unit is None:
        return []
    subject = formula.function.__module__.rpartition(".")[2]
    rule = _RULES.get((argument.name, argument.unit.symbol), {}).get(subject)
    return [] if rule is None else [value for value in rule(situation) if value is not None]


def any_rule(formula: Formula) -> bool:
    """Return whether the plant could have a value for an argument of a formula."""
    subject = formula.function.__module__.rpartition(".")[2]
    return any(a.unit is not None and subject in _RULES.get((a.name, a.unit.symbol), {}) for a in formula.arguments)
