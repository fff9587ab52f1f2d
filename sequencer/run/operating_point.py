"""What was asked of unit and load, and the quantities that follow from it and from readings.

Departures are signed, positive where the output has more than was asked for. What is asked for is
an upper edge only: a unit that gives way is a finding, until a document says that it is too much.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import inf, isnan
from typing import TypeGuard

from drivers.roles import Reading
from sequencer.documents.resistors import Resistor, conductance
from sequencer.documents.unit import Range
from sequencer.requests import LoadState, SupplyState

FRESH_S = 5.0
"""Voltage and current of one power are at most this far apart in time."""

DISCHARGE_S = 10.0
"""After its setting was lowered an output without load takes seconds to come down."""

LOAD_SHARE, LOAD_REST_A = 0.05, 0.1
"""A load takes at most 5 % and 0.1 A more than it was told (common practice, no source)."""

DRAWN_SHARE, STANDS_SHARE = 0.5, 0.5
"""A load that draws less than half of what it was told, from an output that stands at half of its
setting or more, was reset, has tripped or lost a lead: a unit that gives way falls lower."""

PULLS_SHARE = 0.9
"""A load that is to hold less than this part of the setting pulls the unit into its limit, or it
doesn't draw: nearer to the setting both look alike."""

DRAWS_AFTER_S = 3.0
"""Some loads take a second or two to rise (common practice, no source)."""

OFF_SHARE = 0.1
"""With the load off no more flows than this part of the rated current, and LOAD_REST_A."""


@dataclass
class OperatingPoint:
    """The present state as asked for, and what was last read.

    Parameters
    ----------
    voltage_channels, current_channels
        In the order of preference.
    ranges
        Of the unit, for the voltage before its pass element.
    rated_current
        Of the unit, in A.
    resistors
        All that the bench has beside the load.
    """

    voltage_channels: tuple[str, ...] = ()
    current_channels: tuple[str, ...] = ()
    ranges: Sequence[Range] = ()
    rated_current: float = inf
    resistors: tuple[Resistor, ...] = ()
    on_since: float | None = None
    setting: float | None = None
    knob_moves: bool = False
    _load: LoadState | None = None
    _loaded_at: float = -inf
    _before: tuple[float, float] = (-inf, -inf)
    _last: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that the derived quantities are worked out from."""
        return (*self.voltage_channels[:1], *self.current_channels[:1])

    def load(self, state: LoadState, at: float) -> None:
        """Learn that the load was set; what was read before belongs to another state."""
        self._last.clear()
        self._load, self._loaded_at = state, at
        if state.on and self.on_since is None:
            self.on_since = at

    def supply(self, state: SupplyState, at: float) -> None:
        """Learn that the supply was set."""
        self._last.clear()
        if state.voltage is not None:
            if self.setting is not None and state.voltage < self.setting:
                self._before = (self.setting, at)
            self.setting = state.voltage
        if state.output is True and self.on_since is None:
            self.on_since = at
        if state.output is False:
            self.setting = None

    def asked_voltage(self) -> float | None:
        """Return what the output should have now (V), None where nothing says it."""
        load = self._load
        if self.knob_moves or self.setting is None:
            return None
        return min(self.setting, load.level) if self._holds(load) else self.setting

    def asked_current(self) -> float | None:
        """Return what should flow now (A), None where nothing says it."""
        load = self._load
        if load is None or (load.on and load.mode != "current"):
            return None
        beside = (self.setting or 0.0) * conductance(self.resistors, load.resistors)
        return beside + (load.level if load.on else 0.0)

    @staticmethod
    def _holds(load: LoadState | None) -> TypeGuard[LoadState]:
        return load is not None and load.on and load.mode == "voltage"

    def derived(self, readings: Iterable[Reading]) -> list[Reading]:
        """Return the derived quantities of the latest readings."""
        now = -inf
        for reading in readings:
            if not isnan(reading.value):
                self._last[reading.channel] = (reading.answered_at, reading.value)
            now = max(now, reading.answered_at)
        found = [] if self.on_since is None else [_made("time.on", now - self.on_since, now)]
        voltage = self._latest(self.voltage_channels, now)
        current = self._latest(self.current_channels, now)
        if voltage is not None and current is not None:
            own = current - self._beside(voltage, -1.0)
            found.append(_made("power.load", voltage * own, now))
            if (raw := self._unregulated(voltage)) is not None:
                found.append(_made("power.unit", (raw - voltage) * current, now))
        if voltage is not None and self.setting is not None and not self.knob_moves:
            before, until = self._before
            most = max(self.setting, before) if now - until < DISCHARGE_S else self.setting
            load = self._load
            least = min(most, load.level) if self._holds(load) else self.setting
            beyond = max(voltage - most, 0.0) + min(voltage - least, 0.0)
            found.append(_made("departure.voltage", beyond, now))
        if current is not None and self._load is not None:
            most = self._most_current() + self._beside(voltage or self.setting or 0.0, 1.0)
            found.append(_made("departure.current", current - most, now))
            found.append(_made("missing.current", self._missing(voltage, current, now), now))
        return found

    def _missing(self, voltage: float | None, current: float, now: float) -> float:
        """Return what a load draws too little to be in order, 0 where that is the unit's doing."""
        load, setting = self._load, self.setting
        if load is None or not load.on or setting is None or voltage is None:
            return 0.0
        if self.knob_moves or now - self._loaded_at < DRAWS_AFTER_S:
            return 0.0
        own = current - self._beside(voltage, 1.0)
        match load.mode:
            case "current" if voltage >= STANDS_SHARE * setting:
                return max(0.0, DRAWN_SHARE * load.level - own)
            case "voltage" if load.level < PULLS_SHARE * setting:
                stands = voltage > (load.level + setting) / 2
                return max(0.0, DRAWN_SHARE * self.rated_current - own) if stands else 0.0
        return 0.0

    def _most_current(self) -> float:
        load = self._load
        if load is None or (load.on and load.mode != "current"):
            return inf
        if not load.on:
            return OFF_SHARE * self.rated_current + LOAD_REST_A
        return (1 + LOAD_SHARE) * load.level + LOAD_REST_A

    def _beside(self, voltage: float, sign: float) -> float:
        """Return what flows in resistors beside the load, by the end of their tolerance."""
        if self._load is None:
            return 0.0
        return max(voltage, 0.0) * conductance(self.resistors, self._load.resistors, sign)

    def _unregulated(self, voltage: float) -> float | None:
        wanted = max(voltage, self.setting or 0.0)
        fitting = [r.unregulated for r in self.ranges if wanted <= r.voltage_to]
        return min(fitting, default=max((r.unregulated for r in self.ranges), default=None))

    def _latest(self, channels: Sequence[str], now: float) -> float | None:
        for channel in channels:
            at, value = self._last.get(channel, (-inf, 0.0))
            if now - at <= FRESH_S:
                return value
        return None


def _made(channel: str, value: float, at: float) -> Reading:
    return Reading(channel, value, f"{value:.6g}", at, at)
