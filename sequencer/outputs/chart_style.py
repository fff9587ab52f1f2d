"""How charts look: sizes, colours and line styles that hold without colour.

Colours are placeholders in the drawing. The finished SVG carries CSS variables with these as
fallbacks, so that a page can give them another value in the dark or on paper.
"""

from dataclasses import dataclass
from typing import Any

POINTS_PER_INCH = 72.0
CHARACTER = 0.58
"""Mean width of a character, as a share of the text size."""


@dataclass(frozen=True, slots=True)
class Size:
    """A chart's size in CSS pixels (one drawing unit is one pixel) and its text size."""

    name: str
    width: float
    height: float
    text: float
    ticks: int
    most_points: int

    @property
    def longest(self) -> int:
        """How many characters of a label fit on one line."""
        return int(0.9 * self.width / (CHARACTER * self.text))


NARROW = Size("narrow", 360.0, 270.0, 11.0, 5, 640)
WIDE = Size("wide", 720.0, 320.0, 12.0, 9, 1400)

PAPER = "#fdfdfc"
INK = "#1b2326"
FAINT = "#d6dcdb"
MUTED = "#566166"
LIMIT = "#a62a1c"
FIGURE = "#5b4b8a"
SERIES = ("#0b62a8", "#b35c06", "#0a7a5c", "#8c4a97", "#4a5459")
VARIABLES = {
    PAPER: "paper",
    INK: "ink",
    FAINT: "faint",
    MUTED: "muted",
    LIMIT: "limit",
    FIGURE: "figure",
    **{colour: f"series-{index + 1}" for index, colour in enumerate(SERIES)},
}
MARKERS = (("o", 8.0), ("s", 4.0), ("^", 9.5), ("D", 3.0), ("v", 6.0))
"""Shapes and sizes: each shows beside another that lies at the same place."""
Dashes = str | tuple[float, tuple[float, ...]]
DASHES: tuple[Dashes, ...] = (
    "solid",
    (0.0, (7.0, 1.6, 1.6, 1.6)),
    (0.0, (9.0, 1.6)),
    (0.0, (4.0, 1.2, 1.2, 1.2, 1.2, 1.2)),
    (0.0, (3.0, 1.0)),
)
PART_DASHES: tuple[Dashes, ...] = ((0.0, (1.2, 1.0)), (0.0, (2.5, 1.8)))
"""For a shorter part of a quantity that a longer series of the same colour shows too."""
MARK_DASHES = {"limit": (0.0, (5.0, 3.0)), "figure": (0.0, (2.0, 2.0)), "guide": (0.0, (1.0, 3.0))}
MARK_COLOURS = {"limit": LIMIT, "figure": FIGURE, "guide": MUTED}


def settings(size: Size) -> Any:  # keys: a closed Literal of matplotlib's
    """Return matplotlib's settings for one chart: deterministic, text kept as text."""
    return {
        "svg.hashsalt": "steadyrail",
        "svg.fonttype": "none",
        "font.family": ["sans-serif"],  # measured in this one; the page's own font draws
        "font.sans-serif": ["DejaVu Sans"],
        "font.size": size.text,
        "text.parse_math": False,
        "text.color": INK,
        "axes.edgecolor": MUTED,
        "axes.facecolor": "none",
        "axes.formatter.useoffset": False,
        "axes.labelcolor": INK,
        "axes.labelsize": size.text,
        "axes.linewidth": 0.8,
        "axes.spines.right": False,
        "axes.spines.top": False,
        "axes.titlelocation": "left",
        "axes.titlesize": size.text,
        "axes.titleweight": "normal",
        "axes.unicode_minus": True,
        "figure.facecolor": "none",
        "grid.color": FAINT,
        "grid.linewidth": 0.7,
        "legend.fontsize": size.text,
        "legend.frameon": False,
        "path.simplify": False,
        "xtick.color": MUTED,
        "xtick.labelcolor": INK,
        "xtick.labelsize": size.text,
        "ytick.color": MUTED,
        "ytick.labelcolor": INK,
        "ytick.labelsize": size.text,
    }
