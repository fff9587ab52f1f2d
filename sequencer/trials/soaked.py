"""What a soak was asked for, and what its figures are drawn from: one-minute means of readings."""

from dataclasses import dataclass
from math import ceil, inf, nan
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, model_validator

from sequencer.documents.flaws import Flaw, raise_flaws
from sequencer.documents.quantities import (
    PositiveAmperes,
    PositiveSeconds,
    PositiveVolts,
    format_quantity,
)
from sequencer.errors import FigureError
from sequencer.numerics.minutes import MinuteMeans, minute_means
from sequencer.requests import Array, Readings
from sequencer.trials.brackets import HELD_SHARE
from sequencer.trials.trial import AMBIENT, HEATSINK, VOLTAGE, Context, Evidence, Point


class Settings(BaseModel):
    """What a profile may say about a soak."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    by_resistors: ClassVar[bool] = True
    reads_on: ClassVar[bool] = True

    voltage: PositiveVolts
    current: PositiveAmperes
    duration: PositiveSeconds
    warm_up: PositiveSeconds | None = None
    warm_up_band: PositiveVolts | None = None
    period: PositiveSeconds = 1.0
    channels: tuple[str, ...] = Field(default=())

    @model_validator(mode="after")
    def _not_endless(self) -> Self:
        count = (self.duration + (self.warm_up or 0.0)) / self.period
        if count > MOST_READINGS:
            found = f"{count:.2g} readings of each channel"
            expected = f"at most {MOST_READINGS:.0e}: a longer period or a shorter duration"
            raise_flaws([Flaw(("period",), found, expected)])
        return self


MOST_READINGS = 3e6
"""A month at one reading a second; more would not fit into a computer's memory."""


def warm_up_s(settings: Settings, context: Context) -> float:
    """Return the warm-up in seconds: the profile's, else the unit's."""
    return settings.warm_up or context.unit.unit.warm_up


def channels_of(settings: Settings, context: Context) -> tuple[str, ...]:
    """Return the channels to read; the output voltage and the current are always among them."""
    usual = (context.current, *(c for c in (HEATSINK, AMBIENT) if context.has(c)))
    return tuple(dict.fromkeys((VOLTAGE, context.current, *(settings.channels or usual))))


def steps_of(duration_s: float, period_s: float) -> int:
    """Return how many periods it takes to last a duration, the last one begun counted whole."""
    return ceil(duration_s / period_s - ROUNDING)


ROUNDING = 1e-6


def fallen(readings: Readings, settings: Settings) -> str:
    """Say that a warm unit does not deliver its current, by the last readings; "" where it does."""
    seen = readings.value[VOLTAGE][-LAST:]
    last = float(np.median(seen[np.isfinite(seen)])) if np.isfinite(seen).any() else inf
    if last >= HELD_SHARE * settings.voltage:
        return ""
    return (
        f"At {format_quantity(settings.current, 'A', 4)} the output stood at "
        f"{format_quantity(last, 'V', 3)}: the unit does not deliver this current, so there is "
        "nothing to soak."
    )


LAST = 20
"""So many readings tell what the output stands at."""


RANDOM_WALK_SLOPE = 1.1
"""A random walk that ends d away bends a fitted slope by about √(6/5)·d over the time."""


@dataclass(frozen=True, slots=True)
class Soaked:
    """What figures and chart of a soak are drawn from: means of the output and of the room."""

    minutes: MinuteMeans
    ambient: MinuteMeans | None
    current: float
    unseen_room_k: float
    duration_s: float

    def room_between(self, first: int, last: int) -> float:
        """Return by how much (K) the room changed from one mean to another."""
        room = self._room
        return self.unseen_room_k if room is None else abs(float(room[last] - room[first]))

    def room_from_mean(self, at: int) -> float:
        """Return how far (K) the room was from its mean."""
        room = self._room
        return self.unseen_room_k if room is None else abs(float(room[at] - room.mean()))

    def room_rate(self) -> float:
        """Return the slope (K/s) of the room's temperature over the soak."""
        room, time = self._room, self.minutes.time
        if room is None:
            return RANDOM_WALK_SLOPE * self.unseen_room_k / self.duration_s
        return abs(float(np.polyfit(time - time[0], room, 1)[0]))

    @property
    def _room(self) -> Array | None:
        """The room at the times of the output's means."""
        if self.ambient is None:
            return None
        return np.interp(self.minutes.time, self.ambient.time, self.ambient.mean)


def soaked(settings: Settings, evidence: Evidence, within_s: float = inf) -> Soaked:
    """Return the one-minute means of the soak after warm-up, or of its beginning.

    Raises
    ------
    FigureError
        When the soak never began.
    """
    for warm in evidence.points(phase="warm-up"):
        if why := fallen(warm.readings, settings):
            raise FigureError(f"Warning: {why}")
    point = phase_of(evidence, "soak")
    wanted = min(within_s, settings.duration)
    span = inf  # of the whole: after a gap it ends later
    if within_s < inf:  # a last period begun belongs to it
        span = steps_of(wanted, settings.period) * settings.period
    minutes = means_of(point, VOLTAGE, span)
    has_room = AMBIENT in channels_of(settings, evidence.context)
    room = means_of(point, AMBIENT, span) if has_room else None
    amperes = evidence.context.current
    within = _begun(point.readings.answered[amperes], span)
    read = point.readings.value
    current = _drawn(read[amperes][within], read[VOLTAGE][within], settings.voltage)
    return Soaked(
        minutes=minutes,
        ambient=room,
        current=current,
        unseen_room_k=evidence.context.accuracy(VOLTAGE).temperature_span,
        # A row of n readings spans n − 1 cadences.
        duration_s=min(minutes.covered_s - settings.period, wanted),
    )


def _drawn(amperes: Array, volts: Array, voltage: float) -> float:
    """Return what was drawn on average while the output stood; of all where it never did."""
    known = np.isfinite(amperes)
    stood = known & (volts >= HELD_SHARE * voltage) if amperes.shape == volts.shape else known
    used = stood if stood.any() else known
    return float(np.mean(amperes[used])) if used.any() else nan


def phase_of(evidence: Evidence, phase: str) -> Point:
    """Return the readings of a phase; a FigureError where the run did not get so far."""
    points = evidence.points(phase=phase)
    if not points:
        raise FigureError(f"The run ended before the {phase} was complete.")
    return points[0]


HALF_A_SECOND = 0.5
"""An answer comes a little late now and then."""


def means_of(point: Point, channel: str, within_s: float = inf) -> MinuteMeans:
    """Return the one-minute means of a channel, of all or of so many seconds from the first."""
    times, values = point.readings.answered[channel], point.readings.value[channel]
    begin = _begun(times, within_s)
    return minute_means(times[begin], values[begin])


def _begun(times: Array, within_s: float) -> NDArray[np.bool_]:
    """Return which times lie within so many seconds from the first."""
    return np.asarray(times <= times[0] + within_s + HALF_A_SECOND)
