"""How does the plant file say what is wrong with it? In one line, with what to mend."""


class PlantError(ValueError):
    """The plant file cannot be used as it is: one sentence that names file, table and field."""
