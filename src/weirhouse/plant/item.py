"""What is one figure of a unit, and how does it stand to the published range it is held against?"""

from dataclasses import dataclass

from weirhouse.plant.ranges import COMMON, OWN, DesignRange
from weirhouse.quantity import convert, label, show
from weirhouse.working import Known

# What it means to lie outside of a published range: common practice, no source.
MEANING = {
    ("stay", "low"): "water hurries through: expect more solids to be carried on; less flow gives it more time",
    (
        "stay",
        "high",
    ): "water stays longer than designs give it: look for dead corners and settled sludge. Look from the "
    "rim: a basin is a confined space and you can drown in it; never enter alone or untested",
    ("surface", "high"): "the water rises faster than designs let it: fine floc is carried over; reduce the flow",
    ("surface", "low"): "it is lightly loaded, which does no harm",
    ("velocity", "high"): "the water moves fast enough to carry settled solids along; reduce the flow",
    ("velocity", "low"): "solids may settle where they should not",
    ("weir", "high"): "the water speeds up at the weir and draws floc over it; reduce the flow or level the weir",
    ("weir", "low"): "the weir is lightly loaded, which does no harm",
    ("G", "low"): "stirred too gently: chemicals spread and floc grows slowly, the more so in cold water",
    ("G", "high"): "stirred so hard that floc breaks",
    ("Gt", "low"): "too little stirring in all for floc to grow; less flow gives it more time",
    ("Gt", "high"): "more stirring in all than designs give, which may wear floc down",
    ("rate", "high"): "filtered faster than designs allow: watch turbidity and the length of runs; reduce the flow",
    ("rate", "low"): "filtered slowly, which does no harm",
    ("head", "high"): "the clean bed alone takes much of the head: look for fines on top or clogged underdrains",
    ("ratio", "low"): "the bed is shallow for its grains: it holds back less and breaks through sooner",
    ("ratio", "high"): "the bed is deep for its grains: it takes more head",
    ("size", "low"): "finer than designs give: it clogs sooner and leaves more easily with the wash",
    ("size", "high"): "coarser than designs give: solids go deeper and may come through",
    ("uniformity", "high"): "grains of many sizes: the fines gather on top after a wash and clog early",
    ("uniformity", "low"): "more even than designs ask for, which does no harm",
    ("layer", "low"): "a thin layer holds back less: measure it, media may have gone with the wash",
    ("layer", "high"): "a thick layer takes more head and needs more room to rise in the wash",
    ("media", "low"): "that is low for this media: read the delivery sheet again",
    ("media", "high"): "that is high for this media: read the delivery sheet again",
    ("wash", "low"): "see Today for the rate in today's water; a rate too low for it leaves dirt in the bed",
    ("wash", "high"): "see Today for the rate in today's water; a rate too high for it carries media over the trough",
    ("wash time", "low"): "the wash may end while the water is still dirty",
    ("wash time", "high"): "more finished water is spent than designs allow for",
    ("expansion", "low"): "the bed is hardly lifted in this water: dirt stays in it",
    ("expansion", "high"): "the bed is lifted far in this water: watch for media in the wash water",
    ("room", "high"): "the media rise up to the trough in this water and go with the wash: wash at a lower rate",
    ("room", "low"): "the media stay well below the trough, which does no harm",
    ("limit", "low"): "you wash sooner than others do, which spends water and does no other harm",
    ("limit", "high"): "a bed that has lost so much head may break through or draw air",
    ("product", "low"): "that is weak for this product: read its sheet again",
    ("product", "high"): "that is strong for this product: read its sheet again",
    ("residual", "low"): "that is below what may enter the system",
    ("residual", "high"): "that is above what may enter the system",
}
# A value this near to an end of its range counts as within: ranges are round figures of their own units, and 37 m/h
# is written 15 gpm/ft2 as well as 15.1.
NEAR = 0.01
AS_BUILT = {"ratio"}  # no setting changes it
HARMLESS = {
    ("surface", "low"),
    ("weir", "low"),
    ("rate", "low"),
    ("ratio", "high"),
    ("uniformity", "low"),
    ("room", "low"),
}


@dataclass(frozen=True, slots=True)
class Item:
    """One figure of a unit, what sort it is, and the published range it is held against."""

    title: str
    value: Known
    inside: str
    unit: str
    sort: str
    span: DesignRange | None = None

    @property
    def ends(self) -> tuple[float | None, float | None]:
        """Return the ends of the range in the item's inside unit."""
        span = self.span
        if span is None:
            return None, None
        low = None if span.low is None else float(convert(span.low, span.inside, self.inside))
        high = None if span.high is None else float(convert(span.high, span.inside, self.inside))
        return low, high

    @property
    def side(self) -> str:
        """On which side of its range the value lies: "low", "high", or "" when inside, near an end or without one."""
        low, high = self.ends
        if low is not None and self.value < low * (1 - NEAR):
            return "low"
        return "high" if high is not None and self.value > high * (1 + NEAR) else ""

    @property
    def shown(self) -> str:
        """Return the value as people read it."""
        return show(self.value, self.inside, self.unit)

    @property
    def source(self) -> str:
        """Return whose range it is: "Wisconsin Admin. Code NR 811.47(7)"; "" without a range."""
        if self.span is None:
            return ""
        if self.span.provenance == "practice":
            return COMMON
        memory = ", from memory" if self.span.provenance == "memory" else ""
        return f"{self.span.source.split(', http')[0]}{memory}"

    @property
    def whose(self) -> str:
        """Return what kind of range it is: "published", "usual" where no source is named, or "own"."""
        return {COMMON: "usual", OWN: "own"}.get(self.source, "published")

    @property
    def range_text(self) -> str:
        """Return the range in the item's display unit: "3.00 h or more"; "" without a range."""
        if self.span is None:
            return ""
        low, high = (None if end is None else self._end(end) for end in self.ends)
        if low is None:
            return f"{high} or less"
        if high is None:
            return f"{low} or more"
        return low if low == high else f"{low.removesuffix(label(self.unit)).rstrip()} to {high}"

    def _end(self, end: float) -> str:
        """Return an end as people read it; one of another unit in two figures where that is as near as makes no odds.

        37 m/h is "15 gpm/ft²": a third figure would claim more than the source does.
        """
        assert self.span is not None
        there = float(convert(end, self.inside, self.unit))
        round_one = float(f"{there:.1e}")
        foreign = self.unit.replace("^", "") != self.span.unit.replace("^", "") and abs(
            there - round_one
        ) <= NEAR * abs(there)
        return show(end, self.inside, self.unit, 2 if foreign else 3)

    @property
    def sentence(self) -> str:
        """Return what it is and on which side of its range that lies, with what that means."""
        if not self.side:
            if self.span is None:
                return f"{self.title} {self.shown} has no published range to be held against."
            return f"{self.title} {self.shown} keeps to {self.range_text} ({self.source})."
        words = "below" if self.side == "low" else "above"
        return f"{self.title} {self.shown} is {words} {self._limit} ({self.source}): {MEANING[self.sort, self.side]}."

    @property
    def _limit(self) -> str:
        """Return what an item outside has gone past: the whole range where it has two ends, else its one end."""
        low, high = self.ends
        if low is not None and high is not None and low != high:
            return f"the {self.whose} range of {self.range_text}"
        end = low if self.side == "low" else high
        assert end is not None
        return self._end(end)
