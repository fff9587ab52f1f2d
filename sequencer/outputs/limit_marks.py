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
    judged: list[tuple[Shown, Figure]] = []
    for shown in chart.shows:
        for verdict in verdicts:
            if (verdict.trial, verdict.figure) == (chart.trial, shown.figure):
                for axis, at, bound in _places(shown, verdict):
                    name = words.judged(verdict, _name(verdict.figure))
                    names.setdefault((axis, at, bound), []).append(name)
                judged += [(shown, one) for one in _judged(verdict, figures)]
    limits = tuple(
        Mark(f"{', '.join(given)} {bound}", "x" if axis == "x" else "y", at, "limit")
        for (axis, at, bound), given in names.items()
    )
    judged = [one for place, one in enumerate(judged) if one not in judged[:place]]
    bands = tuple(_band(chart, *one) for one in judged if one[0].axis == "y")
    return replace(
        chart,
        marks=(*chart.marks, *bands, *limits),
        caption=" ".join(filter(None, (chart.caption, _judged_words([one for _, one in judged])))),
    )


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
    for figure in figures:
        finite = math.isfinite(figure.value) and math.isfinite(figure.expanded)
        if (figure.trial, figure.name) == (verdict.trial, verdict.figure) and finite:
            yield figure


def _band(chart: Chart, shown: Shown, figure: Figure) -> Mark:
    at = math.copysign(figure.value, _side(chart)) if shown.mirrored else figure.value
    return Mark(f"{_name(figure.name)} ± U", "y", at, "figure", figure.expanded)


def _side(chart: Chart) -> float:
    """Return the value farthest from zero of what was measured, so that its sign tells the side.

    Points are what was measured where there are any; else the last series is, after a warm-up.
    """
    lines = [line for line in chart.lines if line.style == "points"] or chart.lines
    values = [value for line in lines[-1:] for value in line.y if math.isfinite(value)]
    return max(values, key=abs, default=0.0)


def _judged_words(figures: Sequence[Figure]) -> str:
    if not figures:
        return ""
    told = ", ".join(f"{_name(one.name)} {words.value_with_u(one)}" for one in figures)
    return f"Verdicts go by value ± U, which holds what the meters may be wrong by, too: {told}."


def _name(figure: str) -> str:
    return words.title(figure).lower()
