"""What does a benchmark say? A ratio against a peer or a limit of the same run."""

from typing import NamedTuple


class Result(NamedTuple):
    """One measured ratio; above `most` the goal is missed."""

    name: str
    ratio: float
    most: float
    detail: str

    @property
    def met(self) -> bool:
        """Whether the goal is met."""
        return self.ratio <= self.most

    def row(self) -> str:
        """Return the result as a row of a table."""
        return (
            f"| {self.name} | {self.ratio:.2f} | {self.most:.2f} | {'met' if self.met else 'MISSED'} | {self.detail} |"
        )
