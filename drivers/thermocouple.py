"""Thermocouples: from volts to degrees Celsius by the reference functions of ITS-90.

E(t) = Σ c_i·t^i, for type K also + a·exp(b·(t − 126.9686 °C)²), in mV against a junction at 0 °C
(NIST ITS-90 Thermocouple Database, type K above 0 °C, type T above 0 °C). With the reference
junction at another temperature r the instrument sees E(t) − E(r).
"""

from dataclasses import replace
from math import exp, isnan, nan

from drivers.answers import Parser
from drivers.roles import Flag, Reading

COEFFICIENTS = {
    "type K": (
        -0.176004136860e-1,
        0.389212049750e-1,
        0.185587700320e-4,
        -0.994575928740e-7,
        0.318409457190e-9,
        -0.560728448890e-12,
        0.560750590590e-15,
        -0.320207200030e-18,
        0.971511471520e-22,
        -0.121047212750e-25,
    ),
    "type T": (
        0.0,
        0.387481063640e-1,
        0.332922278800e-4,
        0.206182434040e-6,
        -0.218822568460e-8,
        0.109968809280e-10,
        -0.308157587720e-13,
        0.454791352900e-16,
        -0.275129016730e-19,
    ),
}
"""mV per power of 1 °C. From memory of the database; held to its tabulated values by a test."""

BULGE_MV, BULGE_WIDTH, BULGE_DEGC = 0.118597600000, -0.118343200000e-3, 126.9686
"""Type K's exponential."""

LOWEST_DEGC, HIGHEST_DEGC = 0.0, 400.0
"""Where both functions hold: what a heatsink may have is well inside."""
HALVINGS = 60


def millivolts(kind: str, degc: float) -> float:
    """Return the voltage against a junction at 0 °C, in mV."""
    sum_mv = 0.0
    for coefficient in reversed(COEFFICIENTS[kind]):
        sum_mv = sum_mv * degc + coefficient
    if kind == "type K":
        sum_mv += BULGE_MV * exp(BULGE_WIDTH * (degc - BULGE_DEGC) ** 2)
    return sum_mv


def thermocouple_degc(kind: str, volts: float, reference_degc: float = 0.0) -> float:
    """Return the temperature (°C) that gives `volts` with the reference junction at another.

    Raises
    ------
    ValueError
        Outside 0 to 400 °C, as with a broken or swapped pair.
    """
    wanted = volts * 1e3 + millivolts(kind, reference_degc)
    low, high = LOWEST_DEGC, HIGHEST_DEGC
    if not millivolts(kind, low) - 1e-9 <= wanted <= millivolts(kind, high):
        raise ValueError(
            f"{volts:.6g} V of a {kind} pair is outside 0 to 400 degC: it is broken, its wires are "
            "swapped, or it is of another kind"
        )
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if millivolts(kind, middle) < wanted else (low, middle)
    return (low + high) / 2


def thermocouple_parser(volts: Parser, kind: str, reference_degc: float) -> Parser:
    """Return a parser of temperatures from one of voltages."""

    def parse(answer: bytes) -> tuple[float, Flag]:
        volt, flag = volts(answer)
        if flag or isnan(volt):
            return volt, flag
        return thermocouple_degc(kind, volt, reference_degc), ""

    return parse


def referenced(kind: str, volts: Reading, reference: Reading) -> Reading:
    """Return a reading in °C from one in volts, and one of its terminals' temperature in °C.

    What can't be, as with a broken pair or a reference without a number, is no number.
    """
    if volts.flag or isnan(volts.value):
        return volts
    if reference.flag or isnan(reference.value):
        return replace(volts, value=nan, flag="not a number")
    try:
        return replace(volts, value=thermocouple_degc(kind, volts.value, reference.value))
    except ValueError:
        return replace(volts, value=nan, flag="not a number")
