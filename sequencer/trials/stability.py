"""Stability of a soak against averaging time: the overlapping Allan deviation.

allan_deviation_1min, allan_deviation_10min, allan_deviation_1h (V)
    How much one mean of that length differs from the next. Small at the averaging time where noise
    has averaged away and drift has not yet come. Formula: √(½·mean of (ȳ_{i+1} − ȳ_i)²) over means
    ȳ of that length, overlapping. Components: scatter of the differences, with the equivalent
    degrees of freedom of the kind of noise that the means show; the meter's own wander over the
    averaging time. Source: NIST SP 1065 (2008), 5.2.4 and 5.4.1.
"""

from itertools import pairwise

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.allan import Allan, overlapping
from sequencer.numerics.minutes import MinuteMeans
from sequencer.results import Chart, Figure, Line, Mark
from sequencer.trials.trial import VOLTAGE, Evidence
from sequencer.uncertainty.accuracy import wander_components
from sequencer.uncertainty.combine import type_a
from sequencer.uncertainty.figure import make_figure

AVERAGES = {
    "allan_deviation_1min": 60.0,
    "allan_deviation_10min": 600.0,
    "allan_deviation_1h": 3600.0,
}

BESIDE = 1.5
"""Means farther apart than one and a half periods have a gap between them."""

LEAST_STRETCHES = 3
"""With fewer stretches of one length there is a single pair, and no confidence."""

NOISES = {
    2: "white noise of their sum",
    1: "flickering noise of their sum",
    0: "white noise",
    -1: "flicker",
    -2: "a random walk or drift",
}


def longest_run(minutes: MinuteMeans) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return the means of the longest stretch without a gap."""
    cuts = np.flatnonzero(np.diff(minutes.time) > BESIDE * minutes.period_s) + 1
    ends = [0, *(int(cut) for cut in cuts), minutes.mean.size]
    start, stop = max(pairwise(ends), key=lambda pair: pair[1] - pair[0])
    run: np.ndarray[tuple[int], np.dtype[np.float64]] = minutes.mean[start:stop]
    return run


def allan_of(minutes: MinuteMeans) -> Allan:
    """Return the Allan deviation of the longest stretch, at doubling times and the figures' own.

    Raises
    ------
    FigureError
        When too few means follow each other without a gap.
    """
    run = longest_run(minutes)
    fitting = run.size // LEAST_STRETCHES
    wanted = {round(tau / minutes.period_s) for tau in AVERAGES.values()}
    doubling = {2**power for power in range(run.size.bit_length())}
    factors = tuple(sorted(m for m in wanted | doubling if 1 <= m <= fitting))
    return overlapping(run, minutes.period_s, factors or None)


def stability_figures(
    evidence: Evidence, minutes: MinuteMeans, *, voltage: float, reached: dict[str, float]
) -> tuple[Figure, ...]:
    """Return the deviations at the averaging times that the soak was long enough for."""
    try:
        found = allan_of(minutes)
    except FigureError:
        return ()
    accuracy = evidence.context.accuracy(VOLTAGE)
    figures = []
    for name, tau_s in AVERAGES.items():
        at = found.nearest(tau_s)
        if found.tau_s[at] != tau_s:
            continue
        low, high = found.lower[at] * 1e6, found.upper[at] * 1e6
        figures.append(
            make_figure(
                evidence.trial,
                name,
                float(found.deviation[at]),
                "V",
                [
                    type_a("scatter of the differences", float(found.u[at]), float(found.dof[at])),
                    *wander_components(accuracy, voltage, lag_s=tau_s),
                ],
                reached=reached,
                notes=(
                    f"The means look like {NOISES[int(found.power[at])]}: by scatter alone the "
                    f"true deviation lies between {low:.3g} and {high:.3g} µV (95 %). The meter's "
                    "own is in it.",
                ),
            )
        )
    return tuple(figures)


def stability_chart(evidence: Evidence, minutes: MinuteMeans) -> tuple[Chart, ...]:
    """Draw the deviation against averaging time on logarithms, with its 95 % interval."""
    try:
        found = allan_of(minutes)
    except FigureError:
        return ()
    lowest = int(np.argmin(found.deviation))
    return (
        Chart(
            trial=evidence.trial,
            title="Soak: stability against averaging time",
            x_label="averaging time",
            x_unit="s",
            y_label="overlapping Allan deviation",
            y_unit="V",
            lines=(
                Line(
                    "voltage.sense, with 95 % interval",
                    tuple(map(float, found.tau_s)),
                    tuple(map(float, found.deviation)),
                    style="line",
                    lower=tuple(map(float, found.lower)),
                    upper=tuple(map(float, found.upper)),
                    quantity=VOLTAGE,
                ),
            ),
            marks=(Mark("steadiest", "x", float(found.tau_s[lowest]), "guide"),),
            caption=(
                "How much a mean over the averaging time differs from the next one. Falling: noise "
                "averages away; rising: the unit wanders or drifts. The meter's own share is in it."
            ),
            logarithmic=True,
        ),
    )
