"""What is this plant? The plant file, its typed model, and checks against design ranges."""

from weirhouse.plant.check import check
from weirhouse.plant.finding import Finding
from weirhouse.plant.load import load, parse_plant
from weirhouse.plant.model import Plant
from weirhouse.plant.problem import PlantError
from weirhouse.plant.template import new_plant

__all__ = ["Finding", "Plant", "PlantError", "check", "load", "new_plant", "parse_plant"]
