"""How each series of a chart looks, so that all stay visible where they lie on each other.

One quantity has one colour. Its parts, such as warm-up and soak, differ in style; different
quantities differ in style too, so that the chart holds without colour. Markers are hollow and of
falling size: one that lies upon another still shows both.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sequencer.outputs import chart_style as style
from sequencer.results import Line

MANY_POINTS = 150
"""From here on markers shrink to dots."""
LINE_WIDTH = 2.0
FAINT_WIDTH = 0.9
DOT = 2.5
SUMMARY = 2
"""A series this many times longer than one over the same stretch is what that one sums up."""


@dataclass(frozen=True, slots=True)
class Look:
    """One series' colour, line and marker; `faint` for readings behind their own summary."""

    colour: str
    dashes: style.Dashes
    width: float
    marker: str
    marker_size: float
    hollow: bool
    faint: bool


def looks(lines: Sequence[Line], most: Callable[[Line], int]) -> tuple[Look, ...]:
    """Return the look of each series; `most` says how many of its points are drawn."""
    names = [_quantity(line) for line in lines]
    order = list(dict.fromkeys(names))
    found = []
    for index, (line, name) in enumerate(zip(lines, names, strict=True)):
        place = order.index(name)
        parts = [other for other, named in enumerate(names) if named == name]
        parts.sort(key=lambda other: -len(lines[other].x))
        rank = parts.index(index)
        dashes = style.DASHES[place % len(style.DASHES)]
        if rank:
            dashes = style.PART_DASHES[(rank - 1) % len(style.PART_DASHES)]
        faint = len(line.x) > most(line) and any(_sums_up(other, line) for other in lines)
        dots = len(line.x) > MANY_POINTS
        marker, size = style.MARKERS[index % len(style.MARKERS)]
        found.append(
            Look(
                colour=style.SERIES[place % len(style.SERIES)],
                dashes=dashes,
                width=FAINT_WIDTH if faint else LINE_WIDTH,
                marker="." if dots else marker,
                marker_size=DOT if dots else size,
                hollow=not dots,
                faint=faint,
            )
        )
    return tuple(found)


def _quantity(line: Line) -> str:
    return line.quantity or line.label.partition(", ")[0]


def _sums_up(short: Line, long: Line) -> bool:
    """Return whether one series covers most of another's stretch with far fewer points."""
    if not 0 < SUMMARY * len(short.x) < len(long.x):
        return False
    ends = (short.x[0], short.x[-1], long.x[0], long.x[-1])
    if not all(map(math.isfinite, ends)):
        return False
    overlap = min(short.x[-1], long.x[-1]) - max(short.x[0], long.x[0])
    return overlap > 0.5 * (long.x[-1] - long.x[0])
