"""How does one start? A plant file with comments, to write one's own plant over."""

from importlib.resources import files
from pathlib import Path

from weirhouse.plant.load import FILE
from weirhouse.plant.problem import PlantError

EXAMPLE_ID = "EXAMPLE"  # the system's number until somebody writes the plant's own


def template() -> str:
    """Return the text of the plant file that a new plant starts from."""
    return files("weirhouse.plant").joinpath("template.toml").read_text(encoding="utf-8")


def new_plant(folder: Path) -> Path:
    """Write a commented plant file into a folder, made if need be, and return its path.

    Raises
    ------
    PlantError
        When the folder holds a plant file already, or is a file. Nothing is changed then.
    """
    folder = Path(folder)
    file = folder / FILE
    text = template()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError):
        raise PlantError(f"{folder} is a file, not a folder. Name another folder for the plant.") from None
    try:
        with file.open("x", encoding="utf-8") as target:
            target.write(text)
    except FileExistsError:
        raise PlantError(
            f"{file} is already there and was left as it is. Name another folder, or edit that file."
        ) from None
    return file
