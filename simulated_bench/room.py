"""The room: a daily curve, heating cycles, a door that lets cold air in.

``T(t) = mean + daily·sin(2π·(t/24 h + phase)) + heating·triangle(t) + wander(t) + Σ doors``; a
door's cold air comes at once and goes as ``exp(−t/τ)`` (common practice, no source).
"""

from dataclasses import dataclass
from math import exp, pi, sin
from typing import Final

from simulated_bench.noise import GridSeries

DAY_S: Final = 86400.0
DOOR_RISE_S: Final = 20.0
"""Cold air takes this long to reach the bench."""


@dataclass(frozen=True, slots=True)
class Door:
    """A door opened at a bench time: drop in K, time constant of the recovery."""

    at_s: float
    drop_k: float
    recovery_s: float


@dataclass(frozen=True, slots=True)
class Room:
    """Ambient temperature as a function of bench time."""

    mean_degc: float
    daily_k: float
    phase: float
    heating_k: float
    heating_period_s: float
    heating_phase: float
    wander: GridSeries
    doors: tuple[Door, ...] = ()

    def ambient(self, time_s: float) -> float:
        """Return the ambient temperature in degrees Celsius."""
        ambient = (
            self.mean_degc
            + self.daily_k * sin(2.0 * pi * (time_s / DAY_S + self.phase))
            + self.wander.at(time_s)
        )
        if self.heating_k:
            turn = (time_s / self.heating_period_s + self.heating_phase) % 1.0
            ambient += self.heating_k * (4.0 * abs(turn - 0.5) - 1.0)
        for door in self.doors:
            since = time_s - door.at_s
            if since > 0.0:
                ambient -= (
                    door.drop_k * (1.0 - exp(-since / DOOR_RISE_S)) * exp(-since / door.recovery_s)
                )
        return ambient
