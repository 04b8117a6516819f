"""How do our pictures look on paper? The styles that a page gives them, written into the picture, in ink on white."""

# Sizes are those of a picture 1120 wide set across a sheet of letter or A4: small type must stay readable there.
_STYLE = """
text { font-family: "Libertinus Serif"; fill: #16191a; }
.tt-tick, .tt-name, .tt-figure { font-size: %(tick)spx; }
.tt-small, .tt-figure-small { font-size: %(small)spx; fill: #4c5254; }
.tt-day, .tt-now-label { font-weight: 700; }
.tt-label { font-size: %(tick)spx; fill: #7a2e12; font-weight: 600; }
.tt-halo { paint-order: stroke; stroke: #ffffff; stroke-width: 3.5px; stroke-linejoin: round; }
.tt-rule, .ch-grid { stroke: #c9c2b3; stroke-width: 1; }
.tt-axis { stroke: #7c766a; stroke-width: 1; }
.ch-line { fill: none; stroke: #16191a; stroke-width: 1.4; stroke-linejoin: round; }
.ch-dot, .ch-band { fill: #16191a; }
.ch-bad { fill: #ffffff; stroke: #7a2e12; stroke-width: 1.5; }
.ch-limit { stroke: #7a2e12; stroke-width: 1.5; stroke-dasharray: 7 4; }
.ch-gap { fill: #16191a; fill-opacity: 0.06; }
.ch-ahead { stroke-dasharray: 6 4; }
.tt-casing { fill: none; stroke: #ffffff; stroke-width: 3; }
.tt-line { fill: none; stroke-width: 1.5; }
.tt-unmeasured { stroke: #7c766a; stroke-dasharray: 2 3; }
.tt-third .tt-line { stroke-width: 2.4; }
.tt-first .tt-line { stroke-width: 4.2; }
.tt-hit, .tt-band, .tt-cursor { display: none; }
.tt-now { stroke: #16191a; stroke-width: 2; }
.tt-gap { fill: none; stroke: #7c766a; stroke-width: 1; stroke-dasharray: 3 3; }
.tt-wash { fill: #16191a; stroke: #ffffff; stroke-width: 1; }
.tt-waste { fill: #ffffff; stroke: #16191a; stroke-width: 1; stroke-dasharray: 2 2; }
.tt-dose { fill: #7a2e12; stroke: #ffffff; stroke-width: 1; }
.tt-shut { fill: #7a2e12; }
.tt-outage { fill: #16191a; fill-opacity: 0.09; }
.tt-sample { fill: #ffffff; stroke: #16191a; stroke-width: 1.5; }
.tt-fade-near { stop-color: #ffffff; stop-opacity: 0.1; }
.tt-fade-far { stop-color: #ffffff; stop-opacity: 0.62; }
.on-dark { fill: #ffffff; }
.on-light { fill: #000000; }
"""


def for_paper(svg: str, *, tick: float = 17.0, small: float = 15.0) -> str:
    """Return a picture of `pictures` with the styles of paper in it; `tick` and `small` are sizes of type in it."""
    style = _STYLE % {"tick": tick, "small": small}
    head, rest = svg.split(">", 1)
    return f"{head}><style>{style}</style>{rest}"
