"""The way of output and reservoir from one settled state to another, when the loop can't follow.

Switching on, turning the setting, or a load that crosses the limit moves the output further than
the loop's small-signal answer (`transient.py`). The pass element then gives what the limit lets
through, or nothing when the output is too high, and the output capacitor does the rest::

    C_o·dV/dt = I_L(V) − I_load(V) − V/R_b   upwards, no further than the lower of what is asked and
                                             what the reservoir leaves; or downwards, overloaded
    C_o·dV/dt = −I_load(V) − V/R_b           downwards, when less is asked
    C·dV_r/dt = Ī(V_r) − I                   the reservoir, after the line has come back

`Ī` is the mean current that a bridge behind `R` drives into a voltage (the winding's half sine less
drops and `V_r`, over `R`)::

    Ī = (p/π)·(E·cos x − (V_r + D)·(π/2 − x))/R    with  sin x = (V_r + D)/E  and p pulses a period

With ``regulator.slews = false`` the output arrives at once.

The loop itself is taken as quick, the leads' milliohms as nothing. Steps are as long as they may be
for a two-hundredth of the way each.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import asin, cos, log, pi
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulated_bench.characteristic import Circuit
from simulated_bench.regulator import exhausted

LEAST_WAY_V: Final = 0.1
"""Below, the loop's small-signal answer is all."""

PARTS: Final = 200
MOST_STEPS: Final = 1000
LONGEST_STEP_S: Final = 0.05
SHORTEST_STEP_S: Final = 1e-7
ARRIVED_V: Final = 1e-3
LEAST_A: Final = 1e-9


def limited(c: Circuit, asked_v: float) -> Callable[[float], float]:
    """Return what the limit lets through at an output voltage, A (`regulator.py`)."""

    def limit_a(volts: float) -> float:
        drop = max(asked_v - volts, c.rounding_v)
        y = log(drop / c.rounding_v)
        turned_on = exhausted(y, drop / c.drive_span_v)[0] if c.drive_span_v else y
        return max(0.0, c.limit_a + c.limit_per_v * volts + c.rounding_a * turned_on)

    return limit_a


class Charge(NamedTuple):
    """The bridge as it charges an empty reservoir; SI."""

    emf_v: float
    diodes_v: float
    source_ohm: float
    capacitance_f: float
    pulses: int

    def mean_a(self, reservoir_v: float) -> float:
        """Return the mean current into a reservoir at a voltage."""
        against = reservoir_v + self.diodes_v
        if against >= self.emf_v:
            return 0.0
        x = asin(against / self.emf_v)
        through = self.emf_v * cos(x) - against * (0.5 * pi - x)
        return self.pulses / pi * through / self.source_ohm


class Ends(NamedTuple):
    """Where output and reservoir stand before, and where they settle; V."""

    output_v: float
    reservoir_v: float
    settled_output_v: float
    settled_reservoir_v: float
    asked_v: float
    """Of the loop, with nothing in its way."""


@dataclass(frozen=True, slots=True)
class Slew:
    """The output's voltage from a bench time on."""

    from_s: float
    times: NDArray[np.float64]
    volts: NDArray[np.float64]

    @property
    def until_s(self) -> float:
        """Bench time at which the output has arrived."""
        return self.from_s + float(self.times[-1])

    def at(self, time_s: float) -> float:
        """Return the voltage at a bench time."""
        return float(np.interp(time_s - self.from_s, self.times, self.volts))


def slew(
    from_s: float,
    ends: Ends,
    output_f: float,
    saturation_v: float,
    limit_a: Callable[[float], float],
    load_a: Callable[[float], float],
    charge: Charge,
) -> Slew | None:
    """Return the way of the output, or None when it is too short to matter.

    Parameters
    ----------
    limit_a, load_a
        What the limit lets through, and what load and bleeder draw, at an output voltage.
    """
    way = abs(ends.settled_output_v - ends.output_v)
    if way < LEAST_WAY_V:
        return None
    volts, reservoir, time = ends.output_v, ends.reservoir_v, 0.0
    rising = ends.settled_output_v > volts
    times, passed = [0.0], [volts]
    for _ in range(MOST_STEPS):
        drawn = load_a(volts)
        ceiling = min(ends.asked_v, max(reservoir - saturation_v, 0.0))
        given = 0.0 if volts > ends.asked_v else limit_a(volts)
        if rising and volts >= ceiling:
            given = drawn  # waiting for the reservoir
        surplus = given - drawn
        if surplus < 0.0 if rising else surplus > 0.0:
            break  # in balance, but for what is left out here
        filling = charge.mean_a(reservoir) if reservoir < ends.settled_reservoir_v else 0.0
        step = min(
            LONGEST_STEP_S,
            way / PARTS * output_f / max(abs(surplus), LEAST_A),
            ends.settled_reservoir_v / PARTS * charge.capacitance_f / max(filling, LEAST_A),
        )
        step = max(step, SHORTEST_STEP_S)
        time += step
        if filling > 0.0:
            reservoir += step * (filling - given) / charge.capacitance_f
            reservoir = min(max(reservoir, 0.0), ends.settled_reservoir_v)
        volts += step * surplus / output_f
        if rising:
            volts = min(volts, ends.settled_output_v, max(ceiling, passed[-1]))
        else:
            volts = max(volts, ends.settled_output_v)
        times.append(time)
        passed.append(volts)
        if abs(volts - ends.settled_output_v) < ARRIVED_V:
            break
    passed[-1] = ends.settled_output_v
    return Slew(from_s, np.array(times), np.array(passed))
