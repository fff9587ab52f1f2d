"""The thermal tail: how the output goes on after a load step, once the step itself is over.

thermal_tail (V, signed)
    After a stay without load, rated current is put on: the output at the end of the stated time
    (mean of the last readings) less the output at once (mean of the first ones). Two thirds of what
    the output moved in an equal time without load just before are taken off, as what went on from
    before the step: between a third and all of it does (rectangular). Formula:
    (V_last − V_first) under load − 2/3·(V_last − V_first) without. Components: scatter of the
    readings; the unit's own wander over that time, a random walk as far as its means a third of a
    stay apart differ beyond their trend and noise, in both stays; what went on from before the
    step; the meter's gain, noise and wander. Common practice, no source.
"""

from collections.abc import Generator
from math import sqrt

import numpy as np

from sequencer.documents.quantities import format_quantity
from sequencer.errors import FigureError
from sequencer.requests import Apply, LoadState, Read, Reply, Request, Settle
from sequencer.results import Chart, Component, Figure, Line, Mark
from sequencer.trials.brackets import HELD_SHARE
from sequencer.trials.steps import LOAD_OFF, SETTLE_COUNT, SETTLE_LIMIT_S, drawing, tolerances
from sequencer.trials.trial import VOLTAGE, Context, Evidence, Point, refuse_frozen
from sequencer.uncertainty.accuracy import difference
from sequencer.uncertainty.combine import rectangular, type_a
from sequencer.uncertainty.figure import make_figure

WINDOW_S = 5.0
"""At once and at the end: means over five seconds, short beside any heatsink."""

SETTLE_PERIOD_S = 0.25
"""The step itself is over in milliseconds; a second shows that it is."""

LEAST_READINGS = 3
WENT_ON, WENT_ON_WITHIN = 2.0 / 3.0, 1.0 / 3.0
"""Of a drift, over the same time again: a heatsink's of ten minutes goes on by 0.6, a room's whole.
"""

PARTS, APART = 12, 4
"""Means of so many parts of each stay, those so many apart: a third of it. Over nearer ones flicker
would pass for a walk several times too large, farther ones are too few.
"""

WALK_OVER, WALK_DOF = 5.13, 4.95
"""Of a random walk: its variance over a stay over that of these differences about their mean, and
their degrees of freedom in two stays (as a test works out from a walk's covariance).
"""

LEAST_SHARE = 0.2
"""Of that variance is walk, however noisy the readings are: noise is not known better than that."""


def hold(
    context: Context,
    voltage: float,
    current: float,
    duration_s: float,
    period_s: float,
    *,
    then: LoadState = LOAD_OFF,
) -> Generator[Request, Reply, None]:
    """Stay without load, then with the whole current, and read through both.

    The load is off afterwards, as `then` says. Nothing is done where a person types the voltage, as
    nobody types one each second.
    """
    if context.typed(VOLTAGE):
        return
    count = round(duration_s / period_s) + 1
    for load, part in (
        (LOAD_OFF, "tail, no load"),
        (drawing(context, voltage, current), "tail, load"),
    ):
        yield Apply(load)
        yield Settle(
            tolerance=tolerances(context, (VOLTAGE,), voltage),
            window_s=SETTLE_COUNT * SETTLE_PERIOD_S,
            period_s=SETTLE_PERIOD_S,
            limit_s=SETTLE_LIMIT_S,
        )
        yield Read(
            channels=(VOLTAGE, context.current),
            count=count,
            period_s=period_s,
            tag={"part": part},
        )
    yield Apply(then)


def lacks(context: Context) -> dict[str, str]:
    """Say that a tail takes readings each second."""
    read = f"{VOLTAGE} by a meter that nobody has to type"
    return {"thermal_tail": read} if context.typed(VOLTAGE) else {}


FELL = "Warning: the output fell to"
"""How the reason begins where it did so under a load that the unit should deliver."""


def gave_way(volts: float, when: str) -> str:
    """Say that the output fell to so much (V) under a load that the unit should deliver."""
    return (
        f"{FELL} {format_quantity(volts, 'V', 3)} {when}: the unit, its line or a lead gave way. "
        "Look for the cause before the rest is trusted."
    )


def _held(evidence: Evidence, voltage: float) -> tuple[Point, Point]:
    if evidence.context.typed(VOLTAGE):
        raise FigureError(f"The thermal tail takes {VOLTAGE} each second; here a person types it.")
    before = evidence.points(part="tail, no load")
    after = evidence.points(part="tail, load")
    if not before or not after:
        raise FigureError("The run ended before the thermal tail was measured.")
    refuse_frozen((before[0], after[0]), VOLTAGE)
    least = float(after[0].values(VOLTAGE).min())
    if least < HELD_SHARE * voltage:
        raise FigureError(f"{gave_way(least, 'under load for a time')} There is no thermal tail.")
    return before[0], after[0]


def _ends(point: Point) -> tuple[float, float, float, int]:
    """Return the change from first to last window, the scatter in them and how many readings."""
    times, values = point.times(VOLTAGE), point.values(VOLTAGE)
    first = values[times < times[0] + WINDOW_S]
    last = values[times > times[-1] - WINDOW_S]
    count = min(first.size, last.size)
    if count < LEAST_READINGS:
        raise FigureError(
            f"thermal tail: {count} readings in {WINDOW_S:.0f} s, expected at least "
            f"{LEAST_READINGS}. Read more often."
        )
    scatter = sqrt((float(np.var(first, ddof=1)) + float(np.var(last, ddof=1))) / 2)
    return float(last.mean() - first.mean()), scatter, float(times[-1] - times[0]), count


def tail_figure(evidence: Evidence, voltage: float) -> Figure:
    """Return the thermal tail with its budget.

    Raises
    ------
    FigureError
        When it was not measured or the unit did not deliver the current.
    """
    before, after = _held(evidence, voltage)
    change, scatter, duration, count = _ends(after)
    earlier, _, _, _ = _ends(before)
    level = float(after.mean(VOLTAGE))
    current = after.mean(evidence.context.current)
    return make_figure(
        evidence.trial,
        "thermal_tail",
        change - WENT_ON * earlier,
        "V",
        [
            *difference(
                evidence.context.accuracy(VOLTAGE),
                level,
                level + change,
                lag_s=duration,
                readings=count,
                scatter=type_a(
                    "scatter of the readings", scatter * sqrt(2 / count), 2.0 * (count - 1)
                ),
            ),
            _walk(before, after),
            rectangular("what went on from before the step", WENT_ON_WITHIN * abs(earlier)),
        ],
        reached={
            "voltage": voltage,
            "current_from": 0.0,
            "current_to": current,
            "duration": duration,
        },
        notes=(
            f"Within {duration:.0f} s after {current:.3g} A was put on; without load the output "
            f"had moved by {format_quantity(earlier, 'V', 3)} in the same time before.",
            *((BY_HAND,) if _in_two_steps(evidence.context, voltage, current) else ()),
        ),
    )


def _walk(before: Point, after: Point) -> Component:
    """Return the unit's own wander over one stay, as a component in V."""
    found = [_differing(stay) for stay in (before, after)]
    # What bends the loaded stay is the tail itself: then the stay before it tells alone.
    own = found[:1] if found[1][0] > BENT * found[0][0] else found
    seen, noise = np.mean(own, axis=0)
    variance = WALK_OVER * max(seen - noise, LEAST_SHARE * seen)
    return type_a("the unit's own wander", sqrt(variance), WALK_DOF * len(own) / len(found))


BENT = 25.0
"""So much more the means of one stay seldom differ by than those of another: by chance once in
forty times (a ratio of variances with two and a half degrees of freedom each).
"""


def _differing(stay: Point) -> tuple[float, float]:
    """Return by what variance (V²) means a third of a stay apart differ beside their trend.

    And what part of it is the readings' noise.
    """
    values = stay.values(VOLTAGE)
    if values.size < TWICE * PARTS:
        raise FigureError(
            f"thermal tail: {values.size} readings in a stay, expected at least "
            f"{TWICE * PARTS}. Read more often, or stay longer."
        )
    times = stay.times(VOLTAGE)
    longest, whole = float(np.diff(times).max()), float(times[-1] - times[0])
    if longest > whole / PARTS:
        raise FigureError(
            f"thermal tail: {longest:.3g} s of a stay of {whole:.3g} s hold no reading, expected "
            "at most a twelfth of it: the unit's own wander is unknown. Measure it again."
        )
    means = np.array([float(part.mean()) for part in np.array_split(values, PARTS)])
    seen = float(np.var(means[APART:] - means[:-APART], ddof=1))
    # Two means of so many readings; neighbouring readings tell their noise.
    noise = float(np.mean(np.diff(values) ** 2)) * PARTS / values.size
    return seen, noise


TWICE = 2

BY_HAND = (
    "The current came in two steps, as a person connected resistors first: what the output did in "
    "the seconds until the load followed is not in it."
)


def _in_two_steps(context: Context, voltage: float, current: float) -> bool:
    load = context.bench.load
    return bool(load.by_hand(load.share(voltage, current).resistors))


def tail_chart(evidence: Evidence, voltage: float) -> tuple[Chart, ...]:
    """Draw what follows the step beside what went before it, each from its own start."""
    try:
        held = _held(evidence, voltage)
    except FigureError:
        return ()
    begin = float(held[1].times(VOLTAGE)[0])
    lines = []
    for label, point in zip(("without load", "after the step"), held, strict=True):
        times, values = point.times(VOLTAGE), point.values(VOLTAGE)
        start = float(values[times < times[0] + WINDOW_S].mean())
        lines.append(
            Line(
                label,
                tuple(map(float, times - begin)),
                tuple(map(float, values - start)),
                style="line",
            )
        )
    return (
        Chart(
            trial=evidence.trial,
            title="Load steps: what follows a step",
            x_label="time after the step",
            x_unit="s",
            y_label="departure of voltage.sense from the start of each stay",
            y_unit="V",
            lines=tuple(lines),
            marks=(Mark("full current on", "x", 0.0, "guide"),),
            caption=(
                "The step itself is left out; what is drawn is slow: heat, and the unit's wander."
            ),
        ),
    )
