"""Draw the judged limits into the charts that ask for them."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from sequencer.outputs import words
from sequencer.results import Chart, Mark, Shown, Verdict


def with_limits(chart: Chart, verdicts: Sequence[Verdict]) -> Chart:
    """Return a chart with a mark for each limit of the figures that it shows.

    Limits at the same place share one mark, so that no line is drawn over another.
    """
    names: dict[tuple[str, float, str], list[str]] = {}
    for shown in chart.shows:
        for verdict in verdicts:
            if (verdict.trial, verdict.figure) == (chart.trial, shown.figure):
                for axis, at, bound in _places(shown, verdict):
                    names.setdefault((axis, at, bound), []).append(_name(verdict))
    limits = tuple(
        Mark(f"{', '.join(given)} {bound}", "x" if axis == "x" else "y", at, "limit")
        for (axis, at, bound), given in names.items()
    )
    return replace(chart, marks=(*chart.marks, *limits))


def _places(shown: Shown, verdict: Verdict) -> Iterator[tuple[str, float, str]]:
    if verdict.lower is not None:
        yield shown.axis, verdict.lower, f"≥ {words.quantity(verdict.lower, verdict.unit)}"
    if verdict.upper is not None:
        bound = words.quantity(verdict.upper, verdict.unit)
        if not shown.mirrored:
            yield shown.axis, verdict.upper, f"≤ {bound}"
            return
        # A magnitude's limit holds for both signs of what the chart shows.
        yield shown.axis, verdict.upper, f"limit +{bound}"
        yield shown.axis, -verdict.upper, f"limit −{bound}"


def _name(verdict: Verdict) -> str:
    return words.title(verdict.figure).lower()
