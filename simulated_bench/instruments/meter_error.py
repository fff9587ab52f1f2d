"""A meter's true errors: drawn once within its accuracy statement, then moving with time.

reading = true·(1 + g + g_T·ΔT + g_s·s₁(t)) + o + o_T·ΔT + o_s·s₂(t) + emf + noise, where g, o, g_T,
o_T, emf are drawn from rectangular distributions, ΔT is the room's departure from the calibration
temperature, and s(t) is a smooth function of bench time from zero, within ±1.
"""

from dataclasses import dataclass
from math import pi, sin, sqrt
from typing import Final

from numpy.random import Generator

from simulated_bench.instruments.instrument_table import drawn
from simulated_bench.instruments.more_tables import AmmeterTable
from simulated_bench.instruments.tables import VoltmeterTable

PERIODS_H: Final = (5.0, 9.0, 16.0, 29.0)
"""Hours; incommensurable, so that no day repeats the one before."""

NOISE_APERTURE_S: Final = 0.1
"""The integration time that the noise is stated for; white noise falls with 1/√t."""


@dataclass(frozen=True, slots=True)
class SlowChange:
    """A smooth random function of time, zero at zero, never beyond ±1."""

    parts: tuple[tuple[float, float, float], ...]
    """Weight, angular frequency (rad/s), phase of each sine."""

    def at(self, time_s: float) -> float:
        """Return the value."""
        total = 0.0
        for weight, frequency, phase in self.parts:  # a third quicker than a sum over a generator
            total += weight * (sin(frequency * time_s + phase) - sin(phase))
        return total


def slow_change(generator: Generator) -> SlowChange:
    """Draw a function; weights sum to a half, as each sine departs from its start by up to two."""
    weights = generator.dirichlet([1.0] * len(PERIODS_H))
    phases = generator.uniform(0.0, 2.0 * pi, len(PERIODS_H))
    return SlowChange(
        tuple(
            (0.5 * float(w), 2.0 * pi / (3600.0 * period_h), float(p))
            for w, period_h, p in zip(weights, PERIODS_H, phases, strict=True)
        )
    )


@dataclass(frozen=True, slots=True)
class RangeError:
    """The errors on one group of ranges; V, or A in an ammeter."""

    offset_v: float
    noise_v: float
    temperature_offset_v_per_k: float
    stability_offset_v: float


@dataclass(frozen=True, slots=True)
class MeterError:
    """One meter's true errors."""

    gain: float
    gain_per_k: float
    stability_gain: float
    emf_v: float
    low: RangeError
    high: RangeError
    gain_change: SlowChange
    offset_change: SlowChange
    calibrated_at_degc: float
    low_up_to: float
    """The `low` errors hold up to this range."""

    def seen(self, true_v: float, range_v: float, ambient_degc: float, time_s: float) -> float:
        """Return what the meter makes of a true voltage, without its noise."""
        part = self.low if range_v <= self.low_up_to else self.high
        warm_k = ambient_degc - self.calibrated_at_degc
        gain = self.gain + self.gain_per_k * warm_k
        gain += self.stability_gain * self.gain_change.at(time_s)
        offset = part.offset_v + part.temperature_offset_v_per_k * warm_k + self.emf_v
        offset += part.stability_offset_v * self.offset_change.at(time_s)
        return true_v * (1.0 + gain) + offset

    def noise_v(self, range_v: float, aperture_s: float) -> float:
        """Return the standard deviation of one reading."""
        part = self.low if range_v <= self.low_up_to else self.high
        return part.noise_v * sqrt(NOISE_APERTURE_S / aperture_s)


def draw_error(
    table: VoltmeterTable | AmmeterTable, generator: Generator, low_up_to: float
) -> MeterError:
    """Draw one meter's errors from its accuracy statement."""

    def uniform() -> float:
        return float(generator.uniform(-1.0, 1.0))

    return MeterError(
        gain=drawn(table.gain, uniform()),
        gain_per_k=drawn(table.temperature_gain, uniform()),
        stability_gain=table.stability_gain.nominal,
        emf_v=drawn(table.thermal_emf, uniform()),
        low=RangeError(
            drawn(table.offset_low, uniform()),
            table.noise_low.nominal,
            drawn(table.temperature_offset_low, uniform()),
            table.stability_offset_low.nominal,
        ),
        high=RangeError(
            drawn(table.offset, uniform()),
            table.noise.nominal,
            drawn(table.temperature_offset, uniform()),
            table.stability_offset.nominal,
        ),
        gain_change=slow_change(generator),
        offset_change=slow_change(generator),
        calibrated_at_degc=table.calibrated_at.nominal,
        low_up_to=low_up_to,
    )
