"""What can hurt somebody in the work that a formula belongs to? One line for each topic; common practice, no source."""

from weirhouse.working import Formula

_CHEMICALS = (
    "Coagulants are acid, lime and soda ash are caustic, hypochlorite is an oxidiser: each burns skin and eyes. Read "
    "its safety data sheet, wear goggles and gloves, add the chemical to the water, and never mix two chemicals."
)
_HYPOCHLORITE = (
    "Hypochlorite burns skin and eyes, and gives off chlorine gas where acid or coagulant gets into it. Read its "
    "safety data sheet, wear goggles and gloves, let air in, and never mix it with another chemical."
)
_CONTACT = (
    "Public health hangs on this. What counts is what your permit and your State have approved: a low answer is a "
    "reason to call them, a high one no leave to change anything."
)
_BASINS = (
    "A basin or tank is a confined space and you can drown in it. Look from the rim; never enter alone, untested or "
    "without a permit to enter."
)
_FILTERS = (
    "A filter is a confined space and its media do not bear a person while it is washed. Stay behind the rail; never "
    "enter alone or untested, nor before the wash is locked out."
)
_MACHINES = (
    "Lock out and tag the power, and let off the pressure, before a hand or a tool goes near a pump, mixer or shaft."
)
_PIPES = "Let off the pressure and lock out the pump before you open a line. A trench or a vault is a confined space."
_FROST = (
    "Heat tape goes on a ground-fault breaker, as its maker says; thaw no pipe with a flame. A pit is a confined "
    "space; ice over water bears nobody alone."
)
_ACID = "The acid of a titration burns skin and eyes: wear goggles and gloves, and keep water to rinse with at hand."

# the room of the formulas -> caution
TOPICS = {
    "backwash": _FILTERS,
    "basins": _BASINS,
    "chlorine": _HYPOCHLORITE,
    "chlorine_decay": _HYPOCHLORITE,
    "clarification": _BASINS,
    "coagulant_dose": _CHEMICALS,
    "coagulation": _CHEMICALS,
    "contact_time": _CONTACT,
    "disinfectants": _CONTACT,
    "dose_band": _CHEMICALS,
    "feed": _CHEMICALS,
    "filter_run": _FILTERS,
    "filtration": _FILTERS,
    "flocculation": _BASINS,
    "fluidisation": _FILTERS,
    "frost": _FROST,
    "head_loss": _FILTERS,
    "hypochlorite_ageing": _HYPOCHLORITE,
    "jar_test": _CHEMICALS,
    "mixing": _MACHINES,
    "pipes": _PIPES,
    "pumps": _MACHINES,
    "residence_time": _BASINS,
    "residuals": _BASINS,
    "settling": _BASINS,
    "size_classes": _BASINS,
    "storage": _BASINS,
}
# a formula whose work is another than its room's
FORMULAS = {"alkalinity_from_titration": _ACID, "specific_uv_absorbance": "", "volume_at_level": _BASINS}


def caution(formula: Formula) -> str:
    """Return the caution of the work a formula belongs to; "" where nobody is near anything that hurts.

    >>> from weirhouse.working import formulas
    >>> caution(formulas()["hypochlorite_volume"]).split(",")[0]
    'Hypochlorite burns skin and eyes'
    >>> caution(formulas()["average"])
    ''
    """
    topic = formula.function.__module__.rpartition(".")[2]
    return FORMULAS.get(formula.name, TOPICS.get(topic, ""))
