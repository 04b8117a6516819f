"""Waters worked out by PHREEQC (USGS), through the test dependency phreeqpython with its database phreeqc.dat."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import phreeqpython

CACO3 = 50.0435  # g to one equivalent
ALUMINIUM = 26.9815  # g/mol


@dataclass(frozen=True)
class Water:
    """A raw water and a coagulant dose: alkalinity in mg/L as CaCO3, salts in mmol/L, aluminium in mg/L."""

    temperature: float
    ph: float
    alkalinity: float
    calcium_share: float  # of the positive charge; sodium holds the rest
    chloride: float
    aluminium: float = 0.0
    basicity: float = 0.0

    @property
    def calcium_hardness(self) -> float:
        """Calcium in mg/L as CaCO3."""
        return (self.alkalinity / CACO3 + self.chloride) * self.calcium_share * CACO3


@dataclass(frozen=True)
class Answer:
    """What PHREEQC finds; inorganic carbon and ionic strength in mol/m3."""

    ph: float
    ionic_strength: float
    carbon: float
    calcite: float


@lru_cache(maxsize=1)
def engine() -> Any:
    """Return PHREEQC, told what to print."""
    found = phreeqpython.PhreeqPython().ip
    found.run_string(
        "SELECTED_OUTPUT\n -reset false\n -pH true\n -ionic_strength true\n -totals C(4)\n -si Calcite\nEND\n"
    )
    return found


def solve(water: Water, dosed: str = "") -> tuple[Answer, Answer]:
    """Return the raw water and the dosed one.

    `dosed`: "acid" adds 3 (1 - basicity) mol of strong acid to each mole of Al, which is all Al settled as Al(OH)3;
    "hydroxide" adds AlCl3 with 3 x basicity NaOH and lets amorphous Al(OH)3 settle to its solubility; "calcite", "air"
    bring the water into balance with calcite, of which there is enough, or with 420 ppm of carbon dioxide.
    """
    charge = water.alkalinity / CACO3 + water.chloride
    text = f"""SOLUTION 1
 temp {water.temperature}
 pH {water.ph}
 units mmol/kgw
 Alkalinity {water.alkalinity / CACO3}
 Ca {charge * water.calcium_share / 2}
 Na {charge * (1 - water.calcium_share)}
 Cl {water.chloride} charge
END
USE solution 1
"""
    moles = water.aluminium / ALUMINIUM / 1000
    if dosed == "acid":
        text += f"REACTION 1\n HCl 1\n {moles * 3 * (1 - water.basicity)} moles\n"
    elif dosed == "hydroxide":
        text += f"REACTION 1\n AlCl3 1 NaOH {3 * water.basicity}\n {moles} moles\n"
        text += "EQUILIBRIUM_PHASES 1\n Al(OH)3(a) 0 0\n"
    elif dosed == "air":
        text += f"EQUILIBRIUM_PHASES 1\n CO2(g) {np.log10(420e-6)} 10\n"
    elif dosed == "calcite":
        text += "EQUILIBRIUM_PHASES 1\n Calcite 0 10\n"
    else:
        text += "REACTION 1\n H2O 1\n 0 moles\n"
    found = engine()
    found.run_string(text + "END\n")
    names, *rows = found.get_selected_output_array()
    at = {name.partition("(")[0] if name != "si_Calcite" else name: i for i, name in enumerate(names)}
    before, after = (
        Answer(row[at["pH"]], 1000 * row[at["mu"]], 1000 * row[at["C"]], row[at["si_Calcite"]])
        for row in (rows[0], rows[-1])
    )
    return before, after


def waters(count: int, seed: int, *, ph: tuple[float, float], dose: tuple[float, float]) -> list[Water]:
    """Return random fresh waters with a dose that leaves a fifth of the alkalinity at least."""
    random = np.random.default_rng(seed)
    found: list[Water] = []
    while len(found) < count:
        water = Water(
            temperature=float(random.uniform(0.5, 28)),
            ph=float(random.uniform(*ph)),
            alkalinity=float(np.exp(random.uniform(np.log(8), np.log(150)))),
            calcium_share=float(random.uniform(0, 0.9)),
            chloride=float(random.uniform(0.05, 1.0)),
            aluminium=float(random.uniform(*dose)),
            basicity=float(random.uniform(0, 0.85)),
        )
        if 5.564 * (1 - water.basicity) * water.aluminium < 0.8 * water.alkalinity:
            found.append(water)
    return found
