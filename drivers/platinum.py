"""Platinum resistance thermometers: from ohms to degrees Celsius by IEC 60751.

R(t) = R0·(1 + A·t + B·t²), below 0 °C also + R0·C·(t − 100 °C)·t³; from −200 °C to 850 °C.
"""

from math import isnan, sqrt

from drivers.answers import Parser
from drivers.roles import Flag

A = 3.9083e-3
B = -5.775e-7
C = -4.183e-12
"""IEC 60751:2008, 4.2, in powers of 1/°C."""

LOWEST_DEGC, HIGHEST_DEGC = -200.0, 850.0
HALVINGS = 60
"""Of 200 K leave less than any number can tell."""


def resistance_ratio(degc: float) -> float:
    """Return R(t)/R0 at a temperature in degrees Celsius."""
    below = C * (degc - 100.0) * degc**3 if degc < 0.0 else 0.0
    return 1.0 + A * degc + B * degc**2 + below


def platinum_degc(ratio: float) -> float:
    """Return the temperature (°C) at which R/R0 is `ratio`.

    Raises
    ------
    ValueError
        Outside −200 to 850 °C, as with an open or shorted sensor.
    """
    if not resistance_ratio(LOWEST_DEGC) <= ratio <= resistance_ratio(HIGHEST_DEGC):
        raise ValueError(
            f"{ratio:.4g} times the resistance at 0 °C is outside -200 to 850 °C: the sensor is "
            "open, shorted, or of another kind"
        )
    if ratio >= 1.0:
        return (-A + sqrt(A**2 - 4.0 * B * (1.0 - ratio))) / (2.0 * B)
    low, high = LOWEST_DEGC, 0.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if resistance_ratio(middle) < ratio else (low, middle)
    return (low + high) / 2


def platinum_parser(ohms: Parser, nominal_ohm: float) -> Parser:
    """Return a parser of temperatures from one of resistances."""

    def parse(answer: bytes) -> tuple[float, Flag]:
        ohm, flag = ohms(answer)
        if flag or isnan(ohm):
            return ohm, flag
        return platinum_degc(ohm / nominal_ohm), ""

    return parse
