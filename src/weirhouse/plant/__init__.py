"""What is this plant? The plant file, its typed model, and checks against design ranges."""

from weirhouse.plant.load import load, parse_plant
from weirhouse.plant.model import Plant
from weirhouse.plant.problem import PlantError
from weirhouse.plant.template import new_plant

__all__ = ["Plant", "PlantError", "load", "new_plant", "parse_plant"]
