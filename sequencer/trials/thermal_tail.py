"""The thermal tail: how the output goes on after a load step, once the step itself is over.

thermal_tail (V, signed)
    After a stay without load, rated current is put on: the output at the end of the stated time
    (mean of the last readings) less the output at once (mean of the first ones). Half of what the
    output moved in an equal time without load just before is taken off, as what went on from
    before the step: between nothing and all of it does (rectangular). Components: scatter of the
    readings; the unit's own wander over that time, a random walk whose steps are seen in both stays
    (variance of differences of neighbouring means: 2/3 of the walk's over their distance); what
    went on from before the step; the meter's gain, noise and wander. Common practice, no source.
"""

from collections.abc import Generator
from math import sqrt

import numpy as np

from sequencer.documents.quantities import format_quantity
from sequencer.errors import FigureError
from sequencer.numerics.allan_noise import NEIGHBOURS_SHARE
from sequencer.requests import Apply, LoadState, Read, Reply, Request, Settle
from sequencer.results import Chart, Figure, Line, Mark
from sequencer.trials.brackets import HELD_SHARE
from sequencer.trials.steps import LOAD_OFF, SETTLE_COUNT, SETTLE_LIMIT_S, drawing, tolerances
from sequencer.trials.trial import VOLTAGE, Context, Evidence, Point
from sequencer.uncertainty.accuracy import difference
from sequencer.uncertainty.combine import rectangular, type_a
from sequencer.uncertainty.figure import make_figure

WINDOW_S = 5.0
"""At once and at the end: means over five seconds, short beside any heatsink."""

SETTLE_PERIOD_S = 0.25
"""The step itself is over in milliseconds; a second shows that it is."""

LEAST_READINGS = 3
WALK_MEANS = 6
"""Into so many means each stay is cut, to see the unit's own wander from one to the next."""


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


def _held(evidence: Evidence, voltage: float) -> tuple[Point, Point]:
    if evidence.context.typed(VOLTAGE):
        raise FigureError(f"The thermal tail takes {VOLTAGE} each second; here a person types it.")
    before = evidence.points(part="tail, no load")
    after = evidence.points(part="tail, load")
    if not before or not after:
        raise FigureError("The run ended before the thermal tail was measured.")
    least = float(after[0].values(VOLTAGE).min())
    if least < HELD_SHARE * voltage:
        raise FigureError(
            f"Warning: the output fell to {format_quantity(least, 'V', 3)} under load for a time, "
            "so the unit does not deliver the current at which its thermal tail is stated."
        )
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
    variances = [
        float(np.var(np.diff([float(part.mean()) for part in parts]), ddof=1))
        for parts in (
            np.array_split(point.values(VOLTAGE), WALK_MEANS) for point in (before, after)
        )
    ]
    walk = sqrt(float(np.mean(variances)) * WALK_MEANS / NEIGHBOURS_SHARE)
    level = float(after.mean(VOLTAGE))
    current = after.mean(evidence.context.current)
    return make_figure(
        evidence.trial,
        "thermal_tail",
        change - earlier / 2,
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
            type_a("the unit's own wander", walk, 2.0 * (WALK_MEANS - 2)),
            rectangular("what went on from before the step", abs(earlier) / 2),
        ],
        reached={
            "voltage": voltage,
            "current_from": 0.0,
            "current_to": current,
            "duration": duration,
        },
        notes=(
            f"Within {duration:.0f} s after {current:.3g} A was put on; without load the output "
            f"had moved by {earlier * 1e3:.3g} mV in the same time before.",
            *((BY_HAND,) if _in_two_steps(evidence.context, voltage, current) else ()),
        ),
    )


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
