"""Which requirements apply to this plant, and what does its permit make stricter?"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from weirhouse.plant.model import Plant
from weirhouse.quantity import convert, fits
from weirhouse.rules.model import Requirement

TREATMENTS = {
    "conventional": "conventional filtration",
    "direct": "direct filtration",
    "slow_sand": "slow sand filtration",
    "diatomaceous_earth": "diatomaceous earth filtration",
    "alternative": "alternative filtration",
}


def applies(requirement: Requirement, plant: Plant, on: date) -> tuple[bool | None, str]:
    """Return whether a requirement applies on a day, and why not; None where the plant file does not tell."""
    terms = requirement.applies
    treatment = plant.permit.treatment if plant.permit is not None else None
    if "treatment" in terms:
        listed = [str(t) for t in terms["treatment"]]
        if treatment is None:
            return None, "The plant file has no permit: enter its treatment."
        if treatment not in listed:
            return (
                False,
                f"It is for {' and '.join(TREATMENTS.get(t, t) for t in listed)}; yours is {TREATMENTS[treatment]}.",
            )
    if "since" in terms and on < date.fromisoformat(str(terms["since"])):
        return False, f"It is in force from {terms['since']} on."
    if "before" in terms and on >= date.fromisoformat(str(terms["before"])):
        return False, f"It was in force until {terms['before']}."
    bounds = [key for key in terms if key.startswith("population_")]
    if bounds and plant.population is None:
        return None, "It goes by the people served: enter population in the plant file."
    people = plant.population or 0
    for key in bounds:
        most = int(terms[key])
        good = {
            "population_below": people < most,
            "population_from": people >= most,
            "population_above": people > most,
            "population_most": people <= most,
        }[key]
        if not good:
            words = key.removeprefix("population_").replace("most", "at most").replace("from", "at least")
            return False, f"It is for systems that serve {words} {most:,} people; yours serves {people:,}."
    return True, ""


def with_permit(requirements: Iterable[Requirement], plant: Plant) -> tuple[Requirement, ...]:
    """Return the requirements with the permit's least residual where it is stricter; a looser one changes nothing."""
    permit = plant.permit
    least = permit.entry_residual_min if permit is not None else None
    found = []
    for requirement in requirements:
        check = requirement.check
        by_residual = check.get("method") in ("below_for", "any_below") and check.get("channel") == "entry_chlorine"
        if least is not None and by_residual and requirement.limit is not None and fits("g/m^3", requirement.unit):
            own = float(convert(least, "g/m^3", requirement.unit))
            if own > requirement.limit + 1e-9:
                number = f" {permit.number}" if permit is not None and permit.number else ""
                by = f"permit{number}"
                requirement = replace(requirement, limit=own, base_limit=requirement.limit, stricter_by=by)
        found.append(requirement)
    return tuple(found)
