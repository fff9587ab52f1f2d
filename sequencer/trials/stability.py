"""Stability of a soak against averaging time: the overlapping Allan deviation.

allan_deviation_1min, allan_deviation_10min, allan_deviation_1h (V)
    How much one mean of that length differs from the next. Small at the averaging time where noise
    has averaged away and drift has not yet come. It is that of this soak; how far another may be
    from it is in the note. Formula: √(½·mean of (ȳ_{i+1} − ȳ_i)²) over means ȳ of that length,
    overlapping, less the part of the square that the meter adds on average; of the scatter that is
    not the meter's, half, as readings that are apart miss between none and all of it. Components:
    noise of the means; what happens between readings; the meter's wander, a random walk; thermal
    EMF, slow change; gain following the room; offset following the room; the meter's gain.
    Source: NIST SP 1065 (2008), 5.2.4 and 5.4.1; what noise adds: variance of a quadratic form of
    normal values, `sequencer.numerics.allan_noise`.
"""

from itertools import pairwise
from math import hypot, sqrt

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.allan import Allan, overlapping, steps
from sequencer.numerics.allan_noise import (
    lift_by_course,
    lift_by_walk,
    lift_by_white,
    part_of,
)
from sequencer.numerics.minutes import MinuteMeans
from sequencer.requests import Array
from sequencer.results import Chart, Component, Figure, Line, Mark
from sequencer.trials.parts import of
from sequencer.trials.trial import VOLTAGE, Evidence
from sequencer.uncertainty.accuracy import (
    STABILITY_TIME_S,
    THERMAL_EMF_TIME_S,
    Accuracy,
    scale_components,
)
from sequencer.uncertainty.combine import normal, rectangular, triangular
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


def by_meter(minutes: MinuteMeans, accuracy: Accuracy) -> Array:
    """Return the part of each mean's variance that is the meter's: all where its noise is unstated.

    Shape of the means, V².
    """
    scatter: Array = minutes.u**2
    if accuracy.noise == 0.0:
        return scatter
    stated = hypot(accuracy.noise, accuracy.resolution / sqrt(12.0)) * accuracy.per_volt
    return np.minimum(scatter, stated**2 / minutes.count)


def longest_run(minutes: MinuteMeans) -> slice:
    """Return where the longest stretch without a gap stands."""
    cuts = np.flatnonzero(np.diff(minutes.time) > BESIDE * minutes.period_s) + 1
    ends = [0, *(int(cut) for cut in cuts), minutes.mean.size]
    return slice(*max(pairwise(ends), key=lambda pair: pair[1] - pair[0]))


def allan_of(minutes: MinuteMeans) -> Allan:
    """Return the Allan deviation of the longest stretch, at doubling times and the figures' own.

    Raises
    ------
    FigureError
        When too few means follow each other without a gap.
    """
    run = minutes.mean[longest_run(minutes)]
    fitting = run.size // LEAST_STRETCHES
    wanted = {round(tau / minutes.period_s) for tau in AVERAGES.values()}
    doubling = {2**power for power in range(run.size.bit_length())}
    factors = tuple(sorted(m for m in wanted | doubling if 1 <= m <= fitting))
    return overlapping(run, minutes.period_s, factors or None)


def stability_figures(
    evidence: Evidence,
    minutes: MinuteMeans,
    *,
    room: MinuteMeans | None,
    unseen_room_k: float,
    voltage: float,
    reached: dict[str, float],
) -> tuple[Figure, ...]:
    """Return the deviations at the averaging times that the soak was long enough for.

    `unseen_room_k` is how far the room may have gone meanwhile where it was not measured.
    """
    try:
        found = allan_of(minutes)
    except FigureError:
        return ()
    run = longest_run(minutes)
    time = minutes.time[run] - minutes.time[run.start]
    degrees: Array
    if room is None:
        degrees = unseen_room_k * time / time[-1]
    else:
        degrees = np.asarray(np.interp(minutes.time[run], room.time, room.mean), np.float64)
    figures = []
    for name, tau_s in AVERAGES.items():
        at = found.nearest(tau_s)
        if found.tau_s[at] != tau_s:
            continue
        factor = round(tau_s / minutes.period_s)
        square, parts = _own(evidence, minutes, run, factor, (voltage, degrees))
        low, high = found.lower[at] * 1e6, found.upper[at] * 1e6
        raw = float(found.deviation[at]) * 1e6
        figures.append(
            make_figure(
                evidence.trial,
                name,
                sqrt(square),
                "V",
                parts,
                reached=reached,
                notes=(
                    f"With the meter's own {raw:.3g} µV. The means look like "
                    f"{NOISES[int(found.power[at])]}: by scatter alone other soaks lie between "
                    f"{low:.3g} and {high:.3g} µV (95 %).",
                ),
            )
        )
    return tuple(figures)


def _own(
    evidence: Evidence,
    minutes: MinuteMeans,
    run: slice,
    factor: int,
    conditions: tuple[float, Array],
) -> tuple[float, list[Component]]:
    """Return the unit's own Allan variance (V²), and the components of its root.

    `conditions` are the voltage and the room's temperatures.
    """
    voltage, degrees = conditions
    accuracy = evidence.context.accuracy(VOLTAGE)
    seen = steps(minutes.mean[run], factor)
    scatter = float(np.mean(minutes.u[run] ** 2))
    of_meter = float(np.mean(by_meter(minutes, accuracy)[run]))
    walk_v = hypot(accuracy.stability_gain * voltage, accuracy.stability_offset) / sqrt(3.0)
    room = steps(degrees, factor)
    hours: Array = minutes.time[run] / THERMAL_EMF_TIME_S
    lifts = {
        "noise of the means": lift_by_white(seen, factor, sqrt(of_meter)),
        "what happens between readings": part_of(
            lift_by_white(seen, factor, sqrt(scatter - of_meter)), 0.0, 1.0
        ),
        "the meter's wander": lift_by_walk(
            seen, factor, walk_v * sqrt(minutes.period_s / STABILITY_TIME_S)
        ),
        "thermal EMF, slow change": lift_by_course(
            seen, steps(hours, factor), accuracy.thermal_emf
        ),
        "gain following the room": lift_by_course(seen, room, accuracy.temperature_gain * voltage),
        "offset following the room": lift_by_course(seen, room, accuracy.temperature_offset),
    }
    raw = float(np.mean(seen**2)) / 2.0
    square = max(raw - sum(lift.variance for lift in lifts.values()), 0.0)
    # The square's uncertainty on the deviation's scale; near nothing the root is steeper.
    total = sqrt(sum(lift.u**2 for lift in lifts.values()))
    above, below = sqrt(square + 2.0 * total), sqrt(max(square - 2.0 * total, 0.0))
    reach = max(above - sqrt(square), (above - below) / 2.0)
    per_square = reach / (2.0 * total) if total else 0.0
    return square, [
        *(_component(name, lift.u, per_square) for name, lift in lifts.items()),
        *scale_components(accuracy, sqrt(square)),
    ]


FOLLOWING = ("gain following the room", "offset following the room", "thermal EMF, slow change")
"""What an unknown factor, within known bounds, makes of a known course."""


def _component(name: str, u: float, sensitivity: float) -> Component:
    """Return a lift's part of the budget, with the distribution that its cause has."""
    if name in FOLLOWING:
        part = rectangular(name, u * sqrt(3.0), sensitivity)
    elif name == "what happens between readings":
        part = triangular(name, u * sqrt(6.0), sensitivity)
    else:
        part = normal(name, u, sensitivity)
    return of(part, VOLTAGE, "V²")


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
