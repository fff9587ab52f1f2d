"""How far a reservoir sags under a current: the bridge conducts for a part of each period only.

With the winding's peak `E` behind `R` (winding and diodes), the diodes' drop `D`, the reservoir `C`
and a constant current `I`, the bridge conducts from the angle where ``E·sin x − D`` overtakes the
falling reservoir::

    R·i = E·sin x − D − V      C·dV/dt = i − I       (conducting)       C·dV/dt = −I      (else)

which gives, with ``τ = R·C`` and ``P(x) = E·ω/R·(cos x/τ + ω·sin x)/(1/τ² + ω²)``::

    i = I + P(x) − (I + P(x₁))·exp(−(x − x₁)/(ω·τ))

until `i` is zero again. The one unknown, `x₁`, closes the period (O. H. Schade, Proc. IRE 31 (1943)
341, solves the same circuit by graphs). Valley and crest are where ``i = I``.

A diode's drop is ``V_1A + n·V_T·ln(i/1 A)`` (W. Shockley, Bell Syst. Tech. J. 28 (1949) 435), here
its tangent at the pulse's own current. Tables over the current are made once per winding and
interpolated; another line voltage scales both voltages and currents, as all else is linear.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import cos, exp, log, pi, sin, sqrt
from typing import Final, NamedTuple

EMISSION_V: Final = 1.6 * 0.02585
"""``n·V_T`` of a silicon power diode at 27 °C, n = 1.6 (common practice, no source)."""

PULSE_PART: Final = 0.75
"""Current at which the diode's tangent is taken, over the pulse's greatest."""

PULSE_OVER_MEAN: Final = 8.0
"""Where the search for the first pulse begins."""

LEAST_A, MOST_A = 1e-3, 12.0
NODES: Final = 80
"""So many keep the table within 0.1 mV of the solution (test_physics_reservoir_table.py)."""

LEAST_LEFT: Final = 0.15
"""A reservoir that falls below this part of its peak is not followed further."""

BOUND_AT_A: Final = 2.0
HALVINGS: Final = 30
DIODE_ROUNDS: Final = 3
"""After so many the diodes' tangent stands, from that of the current before."""

FIRST_ROUNDS: Final = 10
"""The same from a guess."""

MOST_ROUNDS: Final = 30
ENOUGH: Final = 1e-10
CREST_ROUNDS: Final = 6


Node = tuple[float, float]
"""Sag and ripple at one current."""


class Bridge(NamedTuple):
    """Winding, bridge and reservoir; SI.

    `emf_v` is the peak of the open winding, `diodes_v` the drop at 1 A of the `diodes` in the path,
    `pulses` how many there are per line period: 2 (full wave) or 1 (a dead diode).
    """

    emf_v: float
    diodes_v: float
    diodes: int
    source_ohm: float
    capacitance_f: float
    frequency_hz: float
    pulses: int


class Sag(NamedTuple):
    """Sag of the valley below the unloaded peak and height of the ripple, V, with slopes in Ω."""

    valley_v: float
    valley_ohm: float
    ripple_v: float
    ripple_ohm: float


@dataclass(frozen=True, slots=True)
class SagTable:
    """Sag and ripple over the fourth root of the current; cubic pieces with continuous slopes."""

    first: float
    step: float
    pieces: tuple[tuple[float, ...], ...]
    """Coefficients of sag and ripple in each piece, constant first."""
    bound_v: float
    bound_ohm: float
    """A straight line in the current that the valley's sag never exceeds."""

    def at(self, current_a: float) -> Sag:
        """Return the sag at a current (A); beyond the table it goes on straight."""
        return Sag(*self.values(current_a))

    def values(self, current_a: float) -> tuple[float, float, float, float]:
        """Return what `at` does without its names, which cost in the innermost loop."""
        root = sqrt(sqrt(current_a)) if current_a > LEAST_A else self.first
        place = (root - self.first) / self.step
        pieces = self.pieces
        index = int(place)
        beyond = 0.0
        if index < len(pieces):
            x = place - index
        else:
            index, x = len(pieces) - 1, 1.0
            root = self.first + self.step * len(pieces)
            beyond = current_a - root**4
        a, b, c, d, e, f, g, h = pieces[index]
        slope = 0.25 / (self.step * root * root * root)
        valley_ohm = (b + x * (2.0 * c + x * 3.0 * d)) * slope
        ripple_ohm = (f + x * (2.0 * g + x * 3.0 * h)) * slope
        return (
            a + x * (b + x * (c + x * d)) + valley_ohm * beyond,
            valley_ohm,
            e + x * (f + x * (g + x * h)) + ripple_ohm * beyond,
            ripple_ohm,
        )


@lru_cache(maxsize=256)
def sag_table(bridge: Bridge) -> SagTable:
    """Return the table of a bridge."""
    first = LEAST_A**0.25
    step = (MOST_A**0.25 - first) / NODES
    pulse: Pulse | None = None
    reached = []
    for node in range(NODES + 1):
        pulse = steady(bridge, (first + step * node) ** 4, pulse)
        valley, crest = pulse.ends()
        reached.append((bridge.emf_v - bridge.diodes_v - valley, crest - valley))
        if node > 1 and valley < LEAST_LEFT * bridge.emf_v:
            break
    return _table(first, step, reached)


@dataclass(slots=True)
class Pulse:
    """One pulse through the bridge, from angle `x1` to `x2`."""

    bridge: Bridge
    current: float
    drop_v: float
    ohm: float
    x1: float
    x2: float

    def flows(self, x: float) -> tuple[float, float]:
        """Return the current through the bridge at an angle, and its slope."""
        omega, rate, scale = self._scales()
        forced, bends = self._forced(x, omega, rate, scale)
        begins, _ = self._forced(self.x1, omega, rate, scale)
        fades = (self.current + begins) * exp((self.x1 - x) * rate / omega)
        return self.current + forced - fades, bends + fades * rate / omega

    def close(self) -> None:
        """Move both ends until the current ends and the period closes; Newton's method."""
        b, omega_c = self.bridge, 2.0 * pi * self.bridge.frequency_hz * self.bridge.capacitance_f
        omega, rate, scale = self._scales()
        around, per_rad = 2.0 * pi / b.pulses, self.current / omega_c
        for _ in range(MOST_ROUNDS):
            ends, ends_2 = self.flows(self.x2)
            begins, begins_1 = self._forced(self.x1, omega, rate, scale)
            fade = exp((self.x1 - self.x2) * rate / omega)
            ends_1 = -(begins_1 + (self.current + begins) * rate / omega) * fade
            open_v = b.emf_v * (sin(self.x2) - sin(self.x1))
            open_v -= per_rad * (around - self.x2 + self.x1)
            open_1, open_2 = -b.emf_v * cos(self.x1) - per_rad, b.emf_v * cos(self.x2) + per_rad
            below = ends_1 * open_2 - ends_2 * open_1
            change_1 = (ends_2 * open_v - open_2 * ends) / below
            change_2 = (open_1 * ends - ends_1 * open_v) / below
            self.x1 += change_1
            self.x2 += change_2
            if abs(change_1) + abs(change_2) < ENOUGH:
                return

    def ends(self) -> tuple[float, float]:
        """Return the reservoir's valley and crest: where the pulse gives just `current`."""
        found = []
        for end in (self.x1, self.x2):
            x = end
            for _ in range(CREST_ROUNDS):
                flows, slope = self.flows(x)
                x -= (flows - self.current) / slope
            found.append(self.bridge.emf_v * sin(x) - self.drop_v - self.ohm * self.current)
        return found[0], found[1]

    def _scales(self) -> tuple[float, float, float]:
        omega = 2.0 * pi * self.bridge.frequency_hz
        rate = 1.0 / (self.ohm * self.bridge.capacitance_f)
        return omega, rate, self.bridge.emf_v * omega / self.ohm / (rate**2 + omega**2)

    @staticmethod
    def _forced(x: float, omega: float, rate: float, scale: float) -> tuple[float, float]:
        return scale * (rate * cos(x) + omega * sin(x)), scale * (omega * cos(x) - rate * sin(x))


def steady(bridge: Bridge, current: float, before: Pulse | None) -> Pulse:
    """Return the pulse of the steady state; `before` is that of a current nearby."""
    pulse = Pulse(bridge, current, 0.0, 0.0, 0.0, 0.0)
    if before is None:
        at = PULSE_OVER_MEAN * current
    else:
        pulse.x1, pulse.x2 = before.x1, before.x2
        at = _greatest(before) * PULSE_PART * current / before.current
    for number in range(DIODE_ROUNDS if before is not None else FIRST_ROUNDS):
        slope_v = bridge.diodes * EMISSION_V
        pulse.drop_v = bridge.diodes_v + slope_v * (log(at) - 1.0)
        pulse.ohm = bridge.source_ohm + slope_v / at
        if before is None and number == 0:
            _bracket(pulse)
        pulse.close()
        at = PULSE_PART * _greatest(pulse)
    return pulse


def _greatest(pulse: Pulse) -> float:
    """Return about the greatest current of a pulse, which is near a half sine."""
    return max(pulse.flows(pulse.x1 + part * (pulse.x2 - pulse.x1))[0] for part in (0.4, 0.5, 0.6))


def _bracket(pulse: Pulse) -> None:
    """Find both ends by halving: the later a pulse begins, the less it leaves."""
    b = pulse.bridge
    per_rad = pulse.current / (2.0 * pi * b.frequency_hz * b.capacitance_f)
    low, high = 0.0, 0.5 * pi
    for _ in range(HALVINGS):
        pulse.x1 = 0.5 * (low + high)
        near, far = 0.5 * pi, pi
        for _ in range(HALVINGS):
            pulse.x2 = 0.5 * (near + far)
            if pulse.flows(pulse.x2)[0] > 0.0:
                near = pulse.x2
            else:
                far = pulse.x2
        fallen = per_rad * (2.0 * pi / b.pulses - pulse.x2 + pulse.x1)
        if b.emf_v * (sin(pulse.x2) - sin(pulse.x1)) > fallen:
            low = pulse.x1
        else:
            high = pulse.x1


def _end_slope(end: Node, beside: Node, third: Node) -> Node:
    """Return the slope at a table's end of the parabola through three nodes."""
    falls = (2.0 * beside[k] - 1.5 * end[k] - 0.5 * third[k] for k in (0, 1))
    return next(falls), next(falls)


def _table(first: float, step: float, reached: list[Node]) -> SagTable:
    slopes: list[Node] = [
        (0.5 * (after[0] - before[0]), 0.5 * (after[1] - before[1]))
        for before, after in zip(reached[:-2], reached[2:], strict=True)
    ]
    slopes.insert(0, _end_slope(*reached[:3]))
    valley, ripple = _end_slope(*reached[:-4:-1])
    slopes.append((-valley, -ripple))
    pieces = []
    for (here, there), (rises, rises_there) in zip(
        pairwise(reached), pairwise(slopes), strict=True
    ):
        piece: list[float] = []
        for k in (0, 1):
            whole = there[k] - here[k]
            piece += (
                here[k],
                rises[k],
                3.0 * whole - 2.0 * rises[k] - rises_there[k],
                rises[k] + rises_there[k] - 2.0 * whole,
            )
        pieces.append(tuple(piece))
    table = SagTable(first, step, tuple(pieces), 0.0, 0.0)
    ohm = table.at(BOUND_AT_A).valley_ohm
    currents = [(first + 0.25 * step * n) ** 4 for n in range(4 * len(pieces) + 1)]
    above = max(table.at(current).valley_v - ohm * current for current in currents)
    end = currents[-1]
    # Beyond the table the sag must not rise faster than its bound.
    ohm = max(ohm, table.at(end).valley_ohm)
    return SagTable(first, step, tuple(pieces), above, ohm)
