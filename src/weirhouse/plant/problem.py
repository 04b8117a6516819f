"""How does the plant file say what is wrong with it? In one line, with what to mend."""


class PlantError(ValueError):
    """The plant file cannot be used as it is: one sentence that names file, table and field."""

    def __init__(self, text: str) -> None:
        # what is quoted from the file may hold line ends and signs that no terminal should get
        super().__init__("".join(sign if sign.isprintable() else "�" for sign in " ".join(text.split())))
