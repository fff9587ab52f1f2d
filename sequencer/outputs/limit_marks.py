"""Draw the judged limits into the charts that ask for them, and beside them what was judged."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from sequencer.outputs import words
from sequencer.results import Chart, Figure, Mark, Shown, Verdict


def with_limits(chart: Chart, verdicts: Sequence[Verdict], figures: Sequence[Figure] = ()) -> Chart:
    """Return a chart with a mark for each limit of the figures that it shows.

    Limits at the same place share one mark, so that no line is drawn over another. A judged figure
    of the vertical axis is drawn with its U, and the caption says what the verdicts go by: the bars
    of single points hold less.
    """
    names: dict[tuple[str, float, str], list[str]] = {}
    judged: list[tuple[Shown, str, Figure]] = []
    for shown in chart.shows:
        for verdict in verdicts:
            ours = (verdict.trial, verdict.figure) == (chart.trial, shown.figure)
            if ours and not _of_another_setting(verdict):
                for axis, at, bound in _places(shown, verdict):
                    name = words.judged(verdict, _name(verdict.figure))
                    names.setdefault((axis, at, bound), []).append(name)
                own = any(verdict.judged in one.points for one in figures)
                called = name if own else _name(verdict.figure)
                judged += [(shown, called, one) for one in _judged(verdict, figures)]
    limits = tuple(
        Mark(f"{', '.join(given)} {bound}", "x" if axis == "x" else "y", at, "limit")
        for (axis, at, bound), given in names.items()
    )
    judged = [one for place, one in enumerate(judged) if one not in judged[:place]]
    bands = tuple(_band(chart, *one) for one in judged if one[0].axis == "y")
    return replace(
        chart,
        marks=(*chart.marks, *bands, *limits),
        caption=" ".join(filter(None, (chart.caption, _judged_words(judged)))),
    )


def _of_another_setting(verdict: Verdict) -> bool:
    """Tell whether a limit is for another voltage than the chart is of."""
    found = verdict.coverage
    return verdict.outcome == "not covered" and found is not None and found.quantity == "voltage"


def _places(shown: Shown, verdict: Verdict) -> Iterator[tuple[str, float, str]]:
    if verdict.lower is not None:
        yield shown.axis, verdict.lower, f"≥ {words.promised(verdict.lower, verdict.unit)}"
    if verdict.upper is not None:
        bound = words.promised(verdict.upper, verdict.unit)
        if not shown.mirrored:
            yield shown.axis, verdict.upper, f"≤ {bound}"
            return
        # A magnitude's limit holds for both signs of what the chart shows.
        yield shown.axis, verdict.upper, f"limit +{bound}"
        yield shown.axis, -verdict.upper, f"limit −{bound}"


def _judged(verdict: Verdict, figures: Sequence[Figure]) -> Iterator[Figure]:
    if verdict.outcome == "not covered":
        return
    wanted = (verdict.trial, verdict.figure)
    named = (one for one in figures if (one.trial, one.name) == wanted)
    figure = verdict.judged or next(named, None)
    if figure is not None and math.isfinite(figure.value) and math.isfinite(figure.expanded):
        yield figure


def _band(chart: Chart, shown: Shown, called: str, figure: Figure) -> Mark:
    at = math.copysign(figure.value, _side(chart)) if shown.mirrored else figure.value
    return Mark(f"{called} ± U", "y", at, "figure", figure.expanded)


def _side(chart: Chart) -> float:
    """Return the value farthest from zero of what was measured, so that its sign tells the side.

    Points are what was measured where there are any; else the last series is, after a warm-up.
    """
    lines = [line for line in chart.lines if line.style == "points"] or chart.lines
    values = [value for line in lines[-1:] for value in line.y if math.isfinite(value)]
    return max(values, key=abs, default=0.0)


def _judged_words(judged: Sequence[tuple[Shown, str, Figure]]) -> str:
    if not judged:
        return ""
    told = ", ".join(f"{called} {words.value_with_u(one)}" for _, called, one in judged)
    return f"Verdicts go by value ± U, which holds what the meters may be wrong by, too: {told}."


def _name(figure: str) -> str:
    return words.title(figure).lower()
