"""The output's answer to a step of load current, while the loop regulates before and after.

A loop whose gain falls with frequency makes the output resistance `R` rise like an inductance `L`;
beside it stands the output capacitor `C` with its series resistance `E`::

    Z(s) = (R + s·L)·(1 + s·E·C) / (1 + s·(R + E)·C + s²·L·C)

of second order: ``ω₀ = 1/√(L·C)``, ``ζ = (R + E)/2·√(C/L)`` (the small-signal output impedance of a
series regulator, as in P. Horowitz and W. Hill, The Art of Electronics, "output impedance"). A step
`ΔI` makes ``v(t) = −ΔI·L⁻¹{Z(s)/s}``: a dip of about ``E·ΔI`` at once, then a recovery that rings
when ``ζ < 1``. A current that rises within a time `T` is a ramp, the difference of two integrals of
the step's answer. Crossing the limit is not of this kind and not followed here.
"""

from dataclasses import dataclass
from math import pi, sqrt
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

APART: Final = 1e-6
"""Critically damped poles are moved apart by this part, as their formula is 0/0."""

LOOKED_AT: Final = 4000
TIME_CONSTANTS: Final = 14.0
"""After so many everything is below a millionth."""


@dataclass(frozen=True, slots=True)
class OutputImpedance:
    """What the output looks like to a changing current; SI units."""

    resistance_ohm: float
    inductance_h: float
    capacitance_f: float
    series_ohm: float
    """Of the output capacitor."""

    @property
    def frequency_hz(self) -> float:
        """Natural frequency."""
        return 1.0 / (2.0 * pi * sqrt(self.inductance_h * self.capacitance_f))

    @property
    def damping(self) -> float:
        """Damping ratio; below one the recovery rings."""
        total = self.resistance_ohm + self.series_ohm
        return 0.5 * total * sqrt(self.capacitance_f / self.inductance_h)

    def departure(self, after_s: Array, step_a: float, rise_s: float = 0.0) -> Array:
        """Return the output minus its settled value at times after a step began.

        Parameters
        ----------
        after_s
            Times in seconds, shape ``(n,)``; before zero the output is still where it was.
        step_a
            Change of the load current.
        rise_s
            Time over which it changes, in a straight line.
        """
        settled = self.resistance_ohm * step_a
        if rise_s <= 0.0:
            answer = np.where(after_s < 0.0, 0.0, self._step(np.maximum(after_s, 0.0)))
        else:
            answer = (self._ramp(after_s) - self._ramp(after_s - rise_s)) / rise_s
        return np.asarray(settled - step_a * answer, dtype=np.float64)

    def _poles(self) -> tuple[complex, complex]:
        omega = 2.0 * pi * self.frequency_hz
        under = complex(self.damping**2 - 1.0)
        if abs(under) < APART:
            under = complex(-APART)
        turn = under**0.5
        return omega * (turn - self.damping), omega * (-turn - self.damping)

    def _residues(self) -> tuple[complex, complex]:
        first, second = self._poles()
        lc = self.inductance_h * self.capacitance_f

        def residue(pole: complex, other: complex) -> complex:
            above = (self.resistance_ohm + pole * self.inductance_h) * (
                1.0 + pole * self.series_ohm * self.capacitance_f
            )
            return above / (pole * lc * (pole - other))

        return residue(first, second), residue(second, first)

    def _step(self, after_s: Array) -> Array:
        """Return the voltage per ampere that a step has cost after a time of zero or more."""
        total = np.full(after_s.shape, self.resistance_ohm, dtype=np.complex128)
        for pole, residue in zip(self._poles(), self._residues(), strict=True):
            total += residue * np.exp(pole * after_s)
        return np.asarray(total.real, dtype=np.float64)

    def _ramp(self, after_s: Array) -> Array:
        """Return the integral of `_step`, zero before time zero."""
        after_s = np.maximum(after_s, 0.0)
        total = (self.resistance_ohm * after_s).astype(np.complex128)
        for pole, residue in zip(self._poles(), self._residues(), strict=True):
            total += residue / pole * (np.exp(pole * after_s) - 1.0)
        return np.asarray(total.real, dtype=np.float64)


class StepFigures(NamedTuple):
    """What a step of load current does to the output; volts and seconds."""

    dip: float
    """Greatest departure from the settled value, towards the step's own side."""
    overshoot: float
    """Greatest departure to the other side."""
    recovery: float
    """Time from the step until the output stays within the band."""


def step_figures(
    output: OutputImpedance, step_a: float, band_v: float, rise_s: float = 0.0
) -> StepFigures:
    """Return the figures of a step, from the equation alone."""
    slowest = min(abs(pole.real) for pole in output._poles())  # noqa: SLF001  same module
    end = rise_s + TIME_CONSTANTS / slowest
    fastest = 1.0 / output.frequency_hz / LOOKED_AT
    times = np.concatenate([[0.0], np.geomspace(fastest, end, 50 * LOOKED_AT)])
    departure = output.departure(times, step_a, rise_s)
    against = -departure if step_a > 0.0 else departure
    outside = np.flatnonzero(np.abs(departure) > band_v)
    recovery = 0.0 if outside.size == 0 else float(times[min(outside[-1] + 1, times.size - 1)])
    return StepFigures(
        float(max(np.max(against), 0.0)), float(max(-np.min(against), 0.0)), recovery
    )
