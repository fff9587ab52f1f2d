"""Draw a chart as SVG text that stands inside a page."""

import io
import math
import textwrap
import warnings
from collections.abc import Iterator

import matplotlib as mpl
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullFormatter

from sequencer.outputs import chart_style as style
from sequencer.outputs.chart_marks import Scales, draw_marks, flag_rows, shown_marks
from sequencer.outputs.chart_points import envelope
from sequencer.outputs.chart_scale import Scale, choose
from sequencer.outputs.chart_series import Look, looks
from sequencer.outputs.chart_svg import inline
from sequencer.outputs.words import clean, shortened
from sequencer.requests import Array
from sequencer.results import Chart, Line

MOST_MARKERS = 400
"""Each marker is an element of its own in the file; a longer series of points is thinned."""
MOST_UNIT = 12
KEY_SIGN = 5.0
"""Room for the sign and the gap before an entry of the key, in text sizes."""
FLAG_ROW = 1.35
"""Height of one row of labels above the plot, in text sizes."""


def render(chart: Chart, *, size: style.Size = style.WIDE, prefix: str = "chart-") -> str:
    """Return a chart as one `<svg>` element.

    Parameters
    ----------
    chart : Chart
        Data in SI units.
    size : Size
        `WIDE` for desks and paper, `NARROW` for phones.
    prefix : str
        Begins every id in the markup; must differ between charts of one page.

    Returns
    -------
    str
        The same text for the same chart, always.
    """
    with mpl.rc_context(style.settings(size)), warnings.catch_warnings():
        # A label in a script that the measuring font lacks is still drawn by the browser.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        warnings.filterwarnings("ignore", message="Matplotlib currently does not support")
        figure = _draw(chart, size)
        buffer = io.StringIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    return inline(
        buffer.getvalue(), prefix=prefix, title=clean(chart.title), description=describe(chart)
    )


def describe(chart: Chart) -> str:
    """Return in words what a chart shows: its alternative text."""
    parts = [f"{chart.y_label} against {chart.x_label}"]
    parts += [f"series {line.label}, {len(line.x)} points" for line in chart.lines]
    parts += [f"{mark.kind} {mark.label}" for mark in chart.marks]
    return clean("; ".join(parts) + ".")


def thinned(chart: Chart, size: style.Size = style.WIDE) -> bool:
    """Return whether a chart draws some series as the envelope of its points."""
    return any(len(line.x) > _most(line, chart, size) for line in chart.lines)


def _draw(chart: Chart, size: style.Size) -> Figure:
    inch = style.POINTS_PER_INCH
    marks = shown_marks(chart, size)
    rows = flag_rows(marks) + _legend_rows(chart, size)
    height = size.height + rows * FLAG_ROW * size.text
    figure = Figure(figsize=(size.width / inch, height / inch), dpi=inch, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    scales = Scales(
        choose(*_named(chart.x_label, chart.x_unit, size), _values(chart, "x")),
        choose(*_named(chart.y_label, chart.y_unit, size), _values(chart, "y")),
    )
    seen = looks(chart.lines, lambda line: _most(line, chart, size))
    handles = [
        _draw_line(
            axes,
            line,
            scales,
            look,
            _most(line, chart, size),
            label=shortened(line.label, size.longest),
        )
        for line, look in zip(chart.lines, seen, strict=True)
    ]
    _dress(axes, scales, size, flags=flag_rows(marks), logarithmic=chart.logarithmic)
    if len(handles) > 1:
        columns = _legend_columns(chart, size)
        figure.legend(handles=handles, loc="outside lower left", ncols=columns, handlelength=2.6)
    if not any(len(line.x) for line in chart.lines):
        axes.text(0.5, 0.5, "nothing was measured", transform=axes.transAxes, ha="center")
    draw_marks(figure, axes, marks, scales, size)
    return figure


def _named(label: str, unit: str, size: style.Size) -> tuple[str, str]:
    """Return an axis's label and unit at lengths that leave room for the plot."""
    return shortened(label, 2 * size.longest - MOST_UNIT), shortened(unit, MOST_UNIT)


def _folded(label: str, size: style.Size) -> str:
    return label if len(label) <= size.longest else textwrap.fill(label, size.longest)


def _values(chart: Chart, axis: str) -> Iterator[float]:
    if chart.logarithmic:
        yield 0.0  # so that no offset is taken off
    for line in chart.lines:
        yield from line.x if axis == "x" else line.y
    yield from (
        mark.at for mark in shown_marks(chart, style.WIDE) if mark.axis == axis and not mark.beyond
    )


def _most(line: Line, chart: Chart, size: style.Size) -> int:
    most = max(4, size.most_points // max(1, len(chart.lines)))
    return min(most, MOST_MARKERS) if line.style == "points" else most


def _draw_line(
    axes: Axes, line: Line, scales: Scales, look: Look, most: int, *, label: str
) -> Artist | tuple[Artist, ...]:
    """Draw one series; a faint one is a cloud of readings behind its own summary."""
    raw_x, raw_y = np.array(line.x, dtype=float), np.array(line.y, dtype=float)
    keep = envelope(raw_x, raw_y, most)
    x, y = _scaled(raw_x[keep], scales.x), _scaled(raw_y[keep], scales.y)
    if line.lower is not None and line.upper is not None:
        low = _scaled(np.array(line.lower, dtype=float)[keep], scales.y)
        high = _scaled(np.array(line.upper, dtype=float)[keep], scales.y)
        axes.fill_between(x, low, high, color=look.colour, alpha=0.2, linewidth=0, zorder=2.6)
    if line.style == "points":
        error = None
        if line.y_error is not None:
            error = np.abs(np.array(line.y_error, dtype=float)[keep]) / scales.y.factor
        return axes.errorbar(
            x,
            y,
            yerr=error,
            label=label,
            color=look.colour,
            linestyle="none",
            marker=look.marker,
            markersize=look.marker_size,
            markerfacecolor="none" if look.hollow else look.colour,
            markeredgecolor=look.colour,
            markeredgewidth=1.5 if look.hollow else 0.0,
            elinewidth=1.4,
            capsize=0.5 * look.marker_size if look.hollow else 0.0,
            zorder=3,
        )
    (drawn,) = axes.plot(
        x,
        y,
        label=label,
        color=look.colour,
        linestyle=look.dashes,
        linewidth=look.width,
        alpha=0.65 if look.faint else 1.0,
        drawstyle="steps-post" if line.style == "steps" else "default",
        solid_joinstyle="round",
        zorder=2.5 if look.faint else 2.7,
    )
    return drawn


def _scaled(values: Array, scale: Scale) -> Array:
    scaled: Array = (values - scale.offset) / scale.factor
    return scaled


def _dress(
    axes: Axes, scales: Scales, size: style.Size, *, flags: int, logarithmic: bool = False
) -> None:
    axes.grid(visible=True)
    axes.set_axisbelow(True)
    axes.margins(x=0.03, y=0.08)
    axes.tick_params(length=3.0)
    if logarithmic:
        axes.set_xscale("log")
        axes.set_yscale("log")
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
            axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
            axis.set_minor_formatter(NullFormatter())
    else:
        axes.xaxis.set_major_locator(MaxNLocator(size.ticks, steps=[1, 2, 2.5, 5, 10]))
        axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    axes.set_xlabel(_folded(scales.x.label, size), loc="right")
    axes.set_title(_folded(scales.y.label, size), pad=7.0 + flags * FLAG_ROW * size.text)


def _legend_columns(chart: Chart, size: style.Size) -> int:
    """Return how many entries of the key stand beside each other."""
    longest = max(min(len(line.label), size.longest) for line in chart.lines)
    entry = style.CHARACTER * size.text * longest + KEY_SIGN * size.text
    return min(len(chart.lines), max(1, int(size.width / entry)))


def _legend_rows(chart: Chart, size: style.Size) -> int:
    return math.ceil(len(chart.lines) / _legend_columns(chart, size)) if len(chart.lines) > 1 else 0
