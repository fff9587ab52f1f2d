"""A sense check with one voltmeter: all currents in one place, then, the leads moved, in the other.

The differences from no load are taken in each place by itself, so offsets and what drifts evenly
cancel there. What the unit did between the two visits is a component of its own.
"""

from collections.abc import Generator, Sequence
from dataclasses import replace

import numpy as np

from sequencer.errors import FigureError, TrialStopped
from sequencer.requests import Answered, Apply, Ask, Reply, Request
from sequencer.results import Component
from sequencer.trials.brackets import LevelMeans, level_means
from sequencer.trials.steps import LOAD_OFF
from sequencer.trials.trial import VOLTAGE, VOLTAGE_AT_LOAD, Context, Evidence, Point
from sequencer.uncertainty.combine import rectangular

MOVE_LIMIT_S = 900.0
"""A quarter of an hour to move two leads, and to drink a coffee."""

NEAR_V = 0.5
"""In the new place the meter reads within half a volt of the set voltage without load."""


def is_moved(context: Context) -> bool:
    """Return whether one meter reads both places, its leads moved by a person."""
    channels = context.bench.channels
    if VOLTAGE not in channels or VOLTAGE_AT_LOAD not in channels:
        return False
    first, second = channels[VOLTAGE], channels[VOLTAGE_AT_LOAD]
    return first.instrument == second.instrument and first.leads != second.leads


def both_places(context: Context) -> tuple[str, str]:
    """Return both channels that one meter reads, the one where its leads are first."""
    return (
        (VOLTAGE_AT_LOAD, VOLTAGE)
        if context.leads_at == VOLTAGE_AT_LOAD
        else (VOLTAGE, VOLTAGE_AT_LOAD)
    )


def move(context: Context, channel: str, voltage: float) -> Generator[Request, Reply, None]:
    """Have a person move the leads to a channel's place, with the load off.

    Raises
    ------
    TrialStopped
        When the reading doesn't show that they were lifted and put to a place at that voltage.
    """
    place = context.bench.channels[channel].leads
    yield Apply(LOAD_OFF)
    answer = yield Ask(
        f"Move the leads of the meter to the {place}.",
        channel,
        voltage - NEAR_V,
        voltage + NEAR_V,
        MOVE_LIMIT_S,
        lifted=True,
    )
    if not (isinstance(answer, Answered) and answer.done):
        raise TrialStopped(
            f"{channel} did not show that the leads of the meter were lifted and put to the "
            f"{place}: it has to fall away and come back to {voltage:.4g} V. The trial ends here."
        )


def at_place(evidence: Evidence, place: str) -> tuple[Point, ...]:
    """Return the visits in one place, the output voltage under its usual name in both."""
    points = evidence.points(part="round", place=place)
    return points if place == VOLTAGE else tuple(_as_sense(point, place) for point in points)


def _as_sense(point: Point, channel: str) -> Point:
    readings = point.readings
    return replace(
        point,
        readings=replace(
            readings,
            asked={**readings.asked, VOLTAGE: readings.asked[channel]},
            answered={**readings.answered, VOLTAGE: readings.answered[channel]},
            value={**readings.value, VOLTAGE: readings.value[channel]},
        ),
    )


def gap_between(first: Sequence[Point], second: Sequence[Point], current: str) -> LevelMeans:
    """Return the differences from no load at the load less those at the sense points.

    Raises
    ------
    FigureError
        When one of the places was not visited, or not at the same levels.
    """
    if not first or not second:
        raise FigureError("The run ended before the leads of the meter were moved.")
    sense = level_means(first, VOLTAGE, current)
    load = level_means(second, VOLTAGE_AT_LOAD, current)
    if not np.array_equal(sense.voltage.levels, load.voltage.levels):
        raise FigureError("The two places were visited at different currents.")
    covariance = sense.voltage.covariance + load.voltage.covariance
    return replace(
        load,
        voltage=replace(
            load.voltage,
            differences=load.dv - sense.dv,
            covariance=covariance,
            u=np.sqrt(np.diag(covariance)),
            dof=min(sense.voltage.dof, load.voltage.dof),
        ),
    )


def drift_between(first: Sequence[Point], second: Sequence[Point], gap: LevelMeans) -> Component:
    """Return what the unit's own drift between the places may have done to a difference.

    No-load readings before, between and after say how fast the unit drifted. Half-width: at that
    rate, over the time between a level and the no load beside it, as if nothing of it cancelled.
    """
    means, times = [], []
    for points in sorted((first, second), key=lambda points: points[0].time(VOLTAGE)):
        none = [point for point in points if point.tag["fraction"] == 0.0]
        means += [none[0].mean(VOLTAGE), none[-1].mean(VOLTAGE)]
        times += [none[0].time(VOLTAGE), none[-1].time(VOLTAGE)]
    rates = np.abs(np.diff(means) / np.diff(times))
    return rectangular("the unit's drift between the places", float(rates.max()) * gap.lag_s)
