"""What a trial is made of, what it may know, and the evidence that its figures are drawn from."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import pairwise
from typing import Generic, TypeVar

import numpy as np
from pydantic import BaseModel

from sequencer.documents.bench import BenchDocument
from sequencer.documents.unit import UnitDocument
from sequencer.errors import FigureError
from sequencer.numerics.checks import numbers
from sequencer.record.read import Step
from sequencer.requests import Array, Procedure, Read, Readings
from sequencer.results import Chart, Figure
from sequencer.uncertainty.accuracy import Accuracy
from sequencer.uncertainty.statement import with_terminals

S = TypeVar("S", bound=BaseModel)

VOLTAGE = "voltage.sense"
VOLTAGE_AT_LOAD = "voltage.load"
VOLTAGE_AT_TERMINALS = "voltage.terminals"
HEATSINK = "temperature.heatsink"
AMBIENT = "temperature.ambient"
METER_UNITS = {"voltage": "V", "current": "A", "temperature": "K"}
"""The unit of an accuracy statement, by the instrument's function."""

CURRENTS = ("current.shunt", "current.load", "current.panel")
"""Where the current is taken from: the first of these that the bench has."""


@dataclass(frozen=True, slots=True)
class Context:
    """What a trial knows beside its own settings.

    `when` is the day of the run, for the time since calibration; None while it is only planned.
    `leads_at` is the channel at whose place the leads of a moved meter are when the trial begins;
    with `leads_back` a trial that moves them brings them back there.
    """

    unit: UnitDocument
    bench: BenchDocument
    when: date | None = None
    leads_at: str = VOLTAGE
    leads_back: bool = False

    def has(self, channel: str) -> bool:
        """Return whether the bench provides a channel."""
        return channel in self.bench.channels

    @property
    def currents(self) -> tuple[str, ...]:
        """The channels of the output current; a load sees nothing of resistors beside it."""
        blind = ("current.load",) if self.bench.load.resistors else ()
        found = [c for c in CURRENTS if self.has(c) and c not in blind]
        # Of those that a person types only the one that counts: nobody types for a comparison.
        return tuple(c for n, c in enumerate(found) if n == 0 or not self.typed(c))

    def typed(self, channel: str) -> bool:
        """Return whether a person types what the channel's meter shows."""
        return channel in self.bench.typed

    @property
    def current(self) -> str:
        """The channel that the current is taken from."""
        for channel in self.currents:
            return channel
        raise FigureError(
            f"The bench provides no current channel; expected one of {', '.join(CURRENTS)}."
        )

    def accuracy(self, channel: str) -> Accuracy:
        """Return the accuracy statement of a channel, by component."""
        entry = self.bench.channels[channel]
        stated = entry.accuracy_at(self.when)
        if entry.reference is not None:
            terminals = self.bench.channels[entry.reference].accuracy_at(self.when)
            stated = with_terminals(stated, terminals)
        return Accuracy(
            **stated,
            shunt=entry.shunt,
            channel=channel,
            unit=METER_UNITS[entry.function],
        )


@dataclass(frozen=True, slots=True)
class Point:
    """One Read of a procedure: its tag, and per channel the times and values in its unit."""

    tag: Mapping[str, float | str]
    readings: Readings

    def times(self, channel: str) -> Array:
        """Return the middle of each reading's asked and answered time, in seconds."""
        middle: Array = (self.readings.asked[channel] + self.readings.answered[channel]) / 2
        return middle

    def values(self, channel: str) -> Array:
        """Return the readings of a channel.

        Raises
        ------
        FigureError
            When a reading is not a number, or none was taken: an overload never enters a mean.
        """
        values = self.readings.value[channel]
        if values.size == 0:
            raise FigureError(f"{channel} was not read at the point {_told(self.tag)}.")
        good = numbers(values)
        if not good.all():
            raise FigureError(
                f"{channel} has {int(np.sum(~good))} overloaded or missing "
                f"readings of {values.size} at the point {_told(self.tag)}; nothing is computed "
                "from the rest. Look at the meter's range and leads."
            )
        return values

    def mean(self, channel: str) -> float:
        """Return the mean of a channel."""
        return float(np.mean(self.values(channel)))

    def time(self, channel: str) -> float:
        """Return the mean time of a channel's readings, in seconds."""
        return float(np.mean(self.times(channel)))

    def with_difference(self, first: str, second: str) -> "Point":
        """Return the point with one more channel: the first less the second, reading by reading."""
        name = difference_name(first, second)
        value = self.values(first) - self.values(second)
        return Point(
            self.tag,
            Readings(
                asked={**self.readings.asked, name: self.readings.asked[first]},
                answered={**self.readings.answered, name: self.readings.answered[first]},
                value={**self.readings.value, name: value},
            ),
        )


def _told(tag: Mapping[str, float | str]) -> str:
    """Return a point's tag in words, such as "part round, fraction 0.25"."""
    return ", ".join(
        f"{key.replace('_', ' ')} {value if isinstance(value, str) else format(value, '.6g')}"
        for key, value in tag.items()
    )


def refuse_frozen(points: Sequence[Point], channel: str) -> None:
    """Refuse readings of a meter that has stopped measuring.

    Between two visits at different loads something changes, if only by noise; a meter that shows
    the very same digits through both does not measure.

    Raises
    ------
    FigureError
        When all readings of two visits in a row are one and the same number.
    """
    for before, after in pairwise(points):
        values = np.concatenate([before.values(channel), after.values(channel)])
        if before.tag != after.tag and values.size > MOST_ALIKE and np.ptp(values) == 0.0:
            raise FigureError(
                f"{channel} read {values[0]:.9g} {values.size} times in a row while the load was "
                "changed: the meter looks frozen, or its range is too coarse for this unit."
            )


MOST_ALIKE = 6
"""So many equal readings may be chance on a meter with few digits; more are none."""


def difference_name(first: str, second: str) -> str:
    """Return the name of the channel that is the difference of two."""
    return f"{first} less {second}"


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that one trial asked and got."""

    trial: str
    context: Context
    steps: tuple[Step, ...]

    def points(self, **tag: float | str) -> tuple[Point, ...]:
        """Return the completed Reads whose tag holds the given entries, in the order read."""
        return tuple(self._points(tag))

    def _points(self, tag: Mapping[str, float | str]) -> Iterator[Point]:
        for step in self.steps:
            if (
                isinstance(step.request, Read)
                and isinstance(step.reply, Readings)
                and all(step.request.tag.get(key) == value for key, value in tag.items())
            ):
                yield Point(step.request.tag, self.corrected(step.reply))

    def corrected(self, readings: Readings) -> Readings:
        """Return readings less what a certificate says is wrong with their meters."""
        value = dict(readings.value)
        for channel in readings.value:
            entry = self.context.bench.channels.get(channel)
            found = None if entry is None else entry.correction
            if entry is not None and found is not None:
                raw = readings.value[channel]
                value[channel] = (raw - found.offset * entry.scale) / (1.0 + found.gain)
        return replace(readings, value=value)


@dataclass(frozen=True, slots=True)
class Trial(Generic[S]):
    """A trial: name, settings, procedure, figures and charts.

    `cannot` says which figures the evidence doesn't give though others come out, and why.
    `beyond` gives lower bounds of figures that a run which was ended early has shown
    nevertheless. `lacks` says by figure which channel it would take that the bench hasn't,
    though the other figures can be had. `gives` names the figures it can give, `needs` the
    channels it can't do without (a name that ends in "." stands for any channel that begins
    so). `again` is asked when a run goes on after a gap: what has to be read before an
    interrupted Read may go on, where the unit lost its energy meanwhile; None, and the trial
    starts over. `places` names the channels to whose places the leads of a moved meter have to
    go in it.
    """

    name: str
    summary: str
    settings: type[S]
    gives: tuple[str, ...]
    needs: tuple[str, ...]
    procedure: Callable[[S, Context], Procedure]
    figures: Callable[[S, Evidence], tuple[Figure, ...]]
    charts: Callable[[S, Evidence, tuple[Figure, ...]], tuple[Chart, ...]]
    cannot: Callable[[S, Evidence], Mapping[str, str]] = field(default=lambda _, __: {})
    lacks: Callable[[S, Context], Mapping[str, str]] = field(default=lambda _, __: {})
    beyond: Callable[[S, Evidence], Mapping[str, Figure]] = field(default=lambda _, __: {})
    again: Callable[[S, Context, Read], Read | None] = field(default=lambda _, __, ___: None)
    places: Callable[[S, Context], tuple[str, ...]] = field(default=lambda _, __: (VOLTAGE,))
