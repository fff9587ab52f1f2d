"""The conductors between unit and load.

``R = ρ·l/A`` with annealed copper 1/58 Ω·mm²/m at 20 °C, and
``R(T) = R_20·(1 + 0.00393·(T − 20 °C))`` (IEC 60028). Each voltmeter is attached at a named point:
the unit's terminals, the sense points, the load's terminals, the shunt::

    terminals ── load leads ── sense points ── residual ── load terminals
"""

from typing import Final

COPPER_OHM_M: Final = 1e-6 / 58.0
COPPER_TEMPCO_PER_K: Final = 0.00393
COPPER_REFERENCE_DEGC: Final = 20.0


def conductor_ohm(length_m: float, cross_section_m2: float) -> float:
    """Return a copper conductor's resistance at 20 °C."""
    return COPPER_OHM_M * length_m / cross_section_m2


def copper_factor(temperature_degc: float) -> float:
    """Return resistance at a temperature over that at 20 °C."""
    return 1.0 + COPPER_TEMPCO_PER_K * (temperature_degc - COPPER_REFERENCE_DEGC)
