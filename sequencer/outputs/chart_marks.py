"""Limits, figures and guides in a chart: straight dashed lines, each with its own words."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sequencer.outputs import chart_style as style
from sequencer.outputs.chart_scale import Scale
from sequencer.outputs.words import shortened
from sequencer.results import Chart, Line, Mark

LEAST_SHARE = 0.2
"""The data fill at least this share of an axis; a mark that would flatten them more is named at the
edge, not drawn."""
BAND_TINT = 0.22
LINE_HEIGHT = 1.3
GAP = 3.0
"""Pixels between a line and its words."""


@dataclass(frozen=True, slots=True)
class Scales:
    """The scales of both axes."""

    x: Scale
    y: Scale


@dataclass(frozen=True, slots=True)
class ShownMark:
    """A mark and whether it lies too far beyond the data to be drawn."""

    label: str
    axis: str
    at: float
    kind: str
    beyond: bool
    expanded: float = 0.0


@dataclass(frozen=True, slots=True)
class Edges:
    """Words and kinds of the marks outside the drawn range, by the edge that they stand at."""

    top: tuple[tuple[str, str], ...]
    bottom: tuple[tuple[str, str], ...]


def shown_marks(chart: Chart, size: style.Size) -> tuple[ShownMark, ...]:
    """Return the marks of a chart, those beyond the drawn range marked so."""
    near = {mark for axis in ("x", "y") for mark in _near(chart, axis)}
    return tuple(
        ShownMark(
            shortened(mark.label, size.longest),
            mark.axis,
            mark.at,
            mark.kind,
            mark not in near,
            mark.expanded,
        )
        for mark in chart.marks
    )


def flag_rows(marks: tuple[ShownMark, ...]) -> int:
    """Return how many rows of words the vertical marks need above the plot."""
    return sum(mark.axis == "x" and not mark.beyond for mark in marks)


def draw_marks(
    figure: Figure, axes: Axes, marks: tuple[ShownMark, ...], scales: Scales, size: style.Size
) -> None:
    """Draw every mark; words never lie on each other."""
    drawn = [mark for mark in marks if not mark.beyond]
    for mark in drawn:
        if mark.expanded > 0.0:
            _draw_band(axes, mark, scales)
        if mark.axis == "y":
            axes.axhline(scales.y.of(mark.at), **_line_style(mark))
    upright = [mark for mark in drawn if mark.axis == "x"]
    for mark in upright:
        axes.axvline(scales.x.of(mark.at), **_line_style(mark))
    edges = _edges(
        [mark for mark in marks if mark.beyond], scales, (axes.get_xlim()[0], axes.get_ylim()[0])
    )
    _make_room(axes, edges, size)
    # The layout is settled once; from here on everything is placed in pixels.
    figure.draw_without_rendering()
    figure.set_layout_engine("none")
    _flag_upright(axes, upright, scales.x, size)
    _name_level(axes, [mark for mark in drawn if mark.axis == "y"], scales.y, size, edges)
    _name_far(axes, edges, size)


def _draw_band(axes: Axes, mark: ShownMark, scales: Scales) -> None:
    """Tint value ± U; a U that would flatten the data is cut off at the edges."""
    scale = scales.x if mark.axis == "x" else scales.y
    draw, limits, set_limits = (
        (axes.axvspan, axes.get_xlim(), axes.set_xlim)
        if mark.axis == "x"
        else (axes.axhspan, axes.get_ylim(), axes.set_ylim)
    )
    ends = scale.of(mark.at - mark.expanded), scale.of(mark.at + mark.expanded)
    colour = style.MARK_COLOURS[mark.kind]
    draw(*ends, color=colour, alpha=BAND_TINT, linewidth=0, zorder=1.9)
    whole = max(limits[1], *ends) - min(limits[0], *ends)
    if whole * LEAST_SHARE > limits[1] - limits[0]:
        set_limits(*limits)


def _near(chart: Chart, axis: str) -> list[Mark]:
    """Return the marks of an axis that leave the data their share of it, the farthest left out."""
    marks = [mark for mark in chart.marks if mark.axis == axis]
    values = [value for line in chart.lines for value in _extent(line, axis)]
    if not values:
        return marks
    low, high = min(values), max(values)
    span = (high - low) or max(abs(low), abs(high)) or 1.0
    marks.sort(key=lambda mark: max(low - mark.at, mark.at - high))
    while marks:
        drawn = [low, high, *(mark.at for mark in marks)]
        if max(drawn) - min(drawn) <= span / LEAST_SHARE:
            break
        marks.pop()
    return marks


def _extent(line: Line, axis: str) -> Iterator[float]:
    """Yield what a series reaches along an axis, with its bars and band."""
    series: list[Iterable[float]] = [line.x] if axis == "x" else [line.y]
    if axis == "y":
        series += [band for band in (line.lower, line.upper) if band is not None]
        for sign in (-1.0, 1.0) if line.y_error is not None else ():
            pairs = zip(line.y, line.y_error or (), strict=True)
            series.append([value + sign * error for value, error in pairs])
    for values in series:
        finite = [value for value in values if math.isfinite(value)]
        if finite:
            yield min(finite)
            yield max(finite)


def _line_style(mark: ShownMark) -> dict[str, Any]:
    return {
        "color": style.MARK_COLOURS[mark.kind],
        "linestyle": style.MARK_DASHES[mark.kind],
        "linewidth": 1.8 if mark.kind == "limit" else 1.5,
        "zorder": 2.0,
    }


def _flag_upright(axes: Axes, marks: list[ShownMark], scale: Scale, size: style.Size) -> None:
    """Give each vertical mark a row above the plot, its line rising to its words.

    Words of marks in the left half run to the right and the leftmost stands highest; in the right
    half it is the other way about: so no line passes through another's words.
    """
    box = axes.get_window_extent()
    placed = [(axes.transData.transform((scale.of(mark.at), 0.0))[0], mark) for mark in marks]
    placed.sort(key=lambda pair: pair[0])
    middle = (box.x0 + box.x1) / 2.0
    right = [pair for pair in placed if pair[0] > middle]
    left = [pair for pair in placed if pair[0] <= middle]
    rows = right + left[::-1]
    for row, (x, mark) in enumerate(rows):
        top = box.y1 + (row + 0.55) * LINE_HEIGHT * size.text
        colour = style.MARK_COLOURS[mark.kind]
        axes.plot(
            [scale.of(mark.at)] * 2,
            axes.transData.inverted().transform([(x, box.y1), (x, top)])[:, 1],
            color=colour,
            linewidth=0.8,
            clip_on=False,
            scalex=False,
            scaley=False,
            in_layout=False,
        )
        leftward = x > middle
        place = (x + (-GAP if leftward else GAP), top)
        _write(axes, place, mark.label, colour, size=size, leftward=leftward)


def _name_level(
    axes: Axes, marks: list[ShownMark], scale: Scale, size: style.Size, edges: Edges
) -> None:
    """Write each horizontal mark's words above its line, pushed apart where they would meet."""
    box = axes.get_window_extent()
    step = LINE_HEIGHT * size.text
    placed = sorted(
        ((axes.transData.transform((0.0, scale.of(mark.at)))[1], mark) for mark in marks),
        key=lambda pair: pair[0],
    )
    heights = [y + 0.62 * size.text for y, _ in placed]
    lowest = box.y0 + (len(edges.bottom) + 0.5) * step
    highest = box.y1 - len(edges.top) * step - 0.5 * size.text
    for index in range(len(heights)):
        floor = heights[index - 1] + step if index else lowest if edges.bottom else box.y0
        heights[index] = max(heights[index], floor)
    for index in reversed(range(len(heights))):
        ceiling = highest if index == len(heights) - 1 else heights[index + 1] - step
        heights[index] = min(heights[index], ceiling)
    for height, (_, mark) in zip(heights, placed, strict=True):
        colour = style.MARK_COLOURS[mark.kind]
        leftward = _emptier_right(axes, height, mark.label, size)
        x = box.x1 - GAP if leftward else box.x0 + 2.0 * GAP
        _write(axes, (x, height), mark.label, colour, size=size, leftward=leftward)


def _emptier_right(axes: Axes, height: float, label: str, size: style.Size) -> bool:
    """Return whether fewer drawn points lie where the words would stand at the right end."""
    box = axes.get_window_extent()
    width = 0.6 * size.text * len(label)
    near = {"left": 0, "right": 0}
    for line in axes.get_lines():
        if line.get_transform() != axes.transData:
            continue  # a mark's own line runs across the whole plot
        corners = axes.transData.transform(line.get_xydata())
        for (x0, y0), (x1, y1) in pairwise(corners):
            if min(y0, y1) - size.text > height or max(y0, y1) + size.text < height:
                continue
            near["left"] += min(x0, x1) < box.x0 + width
            near["right"] += max(x0, x1) > box.x1 - width
    return near["right"] <= near["left"]


def _edges(marks: list[ShownMark], scales: Scales, ends: tuple[float, float]) -> Edges:
    """Sort the words of marks outside the drawn range by edge; the same words stand once."""
    top: dict[str, str] = {}
    bottom: dict[str, str] = {}
    for mark in marks:
        scale, low = (scales.x, ends[0]) if mark.axis == "x" else (scales.y, ends[1])
        above = scale.of(mark.at) > low
        arrow = {"x": "←→", "y": "↓↑"}[mark.axis][int(above)]
        edge = bottom if mark.axis == "y" and not above else top
        edge.setdefault(f"{arrow} beyond: {mark.label}", mark.kind)
    return Edges(tuple(top.items()), tuple(bottom.items()))


def _make_room(axes: Axes, edges: Edges, size: style.Size) -> None:
    """Widen the vertical axis so that words at its edges cover no data."""
    low, high = axes.get_ylim()
    row = LINE_HEIGHT * size.text / size.height * (high - low)
    axes.set_ylim(low - len(edges.bottom) * row, high + len(edges.top) * row)


def _name_far(axes: Axes, edges: Edges, size: style.Size) -> None:
    """Write which marks lie outside the drawn range, each at the edge on its side."""
    box = axes.get_window_extent()
    step = LINE_HEIGHT * size.text
    for row, (words, kind) in enumerate(edges.top):
        place = (box.x1 - GAP, box.y1 - (row + 0.6) * step)
        _write(axes, place, words, style.MARK_COLOURS[kind], size=size, leftward=True)
    for row, (words, kind) in enumerate(edges.bottom):
        place = (box.x1 - GAP, box.y0 + (row + 0.6) * step)
        _write(axes, place, words, style.MARK_COLOURS[kind], size=size, leftward=True)


def _write(
    axes: Axes,
    place: tuple[float, float],
    words: str,
    colour: str,
    *,
    size: style.Size,
    leftward: bool,
) -> None:
    """Write words at a place in pixels, on a ground that keeps them readable over lines."""
    axes.text(
        *place,
        words,
        transform=None,
        color=colour,
        ha="right" if leftward else "left",
        va="center",
        fontsize=size.text - 0.5,
        zorder=5,
        in_layout=False,
        bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
    )
