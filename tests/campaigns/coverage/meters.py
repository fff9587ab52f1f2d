"""Meters whose true errors are drawn from the very distributions that their statements mean.

The statement's half-widths are of rectangular distributions (JCGM 100, 4.3.7), noise is a standard
deviation. What the statement leaves open is settled so that each budget's component is met:

- temperature: the coefficient is rectangular within its half-width, the room stands off the
  calibration temperature by the stated span at the start, to one side or the other;
- stability: a random walk whose standard deviation after a day is the rectangle's, from a value
  within the rectangle at the start; so it grows with the square root of the time;
- thermal EMF: with the current comes a value within the rectangle, in proportion; over an hour
  another one comes slowly.

`without` leaves parts of the error out (`parts.py` asks what each does).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from numpy.random import Generator

DAY_S = 86_400.0
HOUR_S = 3600.0
PARTS = (
    "gain",
    "offset",
    "noise",
    "resolution",
    "temperature_gain",
    "temperature_offset",
    "temperature_span",
    "stability_gain",
    "stability_offset",
    "thermal_emf",
)


@dataclass(slots=True)
class Meter:
    """One channel's meter."""

    statement: Mapping[str, float]
    fixed: Generator
    """Draws what belongs to the meter."""
    rng: Generator
    """Draws what differs from reading to reading."""
    too_large: float = 1.0
    """Factor on every error: 1 is a meter within its statement."""
    without: frozenset[str] = frozenset()
    noiseless: float = 0.0
    """The last reading without noise and resolution: what stays wrong with it."""
    _stated: dict[str, float] = field(default_factory=dict)
    _drawn: dict[str, float] = field(default_factory=dict)
    _wander: dict[str, float] = field(default_factory=dict)
    _at: float = 0.0
    _room_at_start: float | None = None

    def __post_init__(self) -> None:
        """Draw what stays."""
        for name in (*PARTS, "side", "slow_emf"):
            self._drawn[name] = float(self.fixed.uniform(-1.0, 1.0))
        self._stated = dict.fromkeys(PARTS, 0.0) | dict(self.statement)
        self._stated |= dict.fromkeys(self.without, 0.0)
        self._wander = {
            name: self._drawn[name] * self._stated[name]
            for name in ("stability_gain", "stability_offset")
        }

    def read(self, true: float, at: float, ambient_degc: float, load_share: float) -> float:
        """Return one reading in the meter's own unit."""
        stated, drawn = self._stated, self._drawn
        self._move_to(at)
        if self._room_at_start is None:
            self._room_at_start = ambient_degc
        side = math.copysign(stated["temperature_span"], drawn["side"])
        warm = ambient_degc - self._room_at_start + side
        gain = (
            drawn["gain"] * stated["gain"]
            + drawn["temperature_gain"] * stated["temperature_gain"] * warm
            + self._wander["stability_gain"]
        )
        offset = (
            drawn["offset"] * stated["offset"]
            + drawn["temperature_offset"] * stated["temperature_offset"] * warm
            + self._wander["stability_offset"]
            + drawn["thermal_emf"] * stated["thermal_emf"] * min(load_share, 1.0)
            + drawn["slow_emf"] * stated["thermal_emf"] * min(at / HOUR_S, 1.0)
        )
        noise = stated["noise"] * float(self.rng.standard_normal())
        self.noiseless = true + self.too_large * (true * gain + offset)
        value = self.noiseless + self.too_large * noise
        step = stated["resolution"]
        return round(value / step) * step if step > 0.0 else value

    def _move_to(self, at: float) -> None:
        since = at - self._at
        if since <= 0.0:
            return
        self._at = at
        root = math.sqrt(since / DAY_S / 3.0)
        for name in self._wander:
            self._wander[name] += self._stated[name] * root * float(self.rng.standard_normal())
