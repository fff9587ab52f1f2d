"""The closed table of dimensions and units that documents may use.

Nothing is guessed: a unit that is not in its dimension's table is refused, and a prefix is taken
off only in front of a unit that is marked as taking one, so "min" is never milli-inches.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

PREFIXES = "pnumkMG"
"""The SI prefixes that a bench needs; "u" also stands for both characters of micro."""

MINUTE_S = 60
HOUR_S = 3600
DAY_S = 86400


@dataclass(frozen=True, slots=True, eq=False)
class Dimension:
    """A physical dimension: its SI unit, an example for messages, and its units.

    `prefixed` units take an SI prefix, `plain` ones stand as they are; both map to the factor that
    leads to the SI unit (degrees Celsius stay as they are). `shown` is the unit for people.
    """

    name: str
    unit: str
    shown: str
    example: str
    prefixed: Mapping[str, Fraction] = field(default_factory=dict)
    plain: Mapping[str, Fraction] = field(default_factory=dict)


def _per_time(unit: str) -> Mapping[str, Fraction]:
    return {
        f"{unit}/s": Fraction(1),
        f"{unit}/min": Fraction(1, MINUTE_S),
        f"{unit}/h": Fraction(1, HOUR_S),
    }


_ONE = Fraction(1)
_OHM = {"Ω": _ONE, "ohm": _ONE}

VOLTAGE = Dimension("voltage", "V", "V", "30 mV", prefixed={"V": _ONE})
CURRENT = Dimension("current", "A", "A", "3 A", prefixed={"A": _ONE})
RESISTANCE = Dimension("resistance", "ohm", "Ω", "10 mΩ", prefixed=_OHM)
POWER = Dimension("power", "W", "W", "150 W", prefixed={"W": _ONE})
TIME = Dimension(
    "time",
    "s",
    "s",
    "30 min",
    prefixed={"s": _ONE},
    plain={"min": Fraction(MINUTE_S), "h": Fraction(HOUR_S), "d": Fraction(DAY_S)},
)
FREQUENCY = Dimension("frequency", "Hz", "Hz", "50 Hz", prefixed={"Hz": _ONE})
TEMPERATURE = Dimension("temperature", "°C", "°C", "25 °C", plain={"°C": _ONE})
TEMPERATURE_DIFFERENCE = Dimension("temperature difference", "K", "K", "5 K", prefixed={"K": _ONE})
RATIO = Dimension(
    "ratio", "1", "%", "0.02 %", plain={"%": Fraction(1, 100), "ppm": Fraction(1, 10**6)}
)
LENGTH = Dimension(
    "length", "m", "m", "15 cm", prefixed={"m": _ONE}, plain={"cm": Fraction(1, 100)}
)
AREA = Dimension(
    "cross-section",
    "m²",
    "m²",
    "0.75 mm²",
    plain={"mm²": Fraction(1, 10**6), "cm²": Fraction(1, 10**4), "m²": _ONE},
)
RATIO_PER_KELVIN = Dimension(
    "relative temperature coefficient",
    "1/K",
    "1/K",
    "5 ppm/K",
    plain={"ppm/K": Fraction(1, 10**6), "%/K": Fraction(1, 100)},
)
VOLTAGE_PER_KELVIN = Dimension(
    "voltage per kelvin", "V/K", "V/K", "20 µV/K", prefixed={"V/K": _ONE}
)
CURRENT_PER_KELVIN = Dimension(
    "current per kelvin", "A/K", "A/K", "20 µA/K", prefixed={"A/K": _ONE}
)
KELVIN_PER_KELVIN = Dimension("kelvin per kelvin", "K/K", "K/K", "2 mK/K", prefixed={"K/K": _ONE})
KELVIN_PER_WATT = Dimension("kelvin per watt", "K/W", "K/W", "0.5 K/W", prefixed={"K/W": _ONE})
VOLTAGE_RATE = Dimension("voltage per time", "V/s", "V/s", "1 mV/h", prefixed=_per_time("V"))
CURRENT_RATE = Dimension("current per time", "A/s", "A/s", "1 mA/min", prefixed=_per_time("A"))
TEMPERATURE_RATE = Dimension(
    "temperature rise per time", "K/s", "K/s", "5 K/min", prefixed=_per_time("K")
)

DIMENSIONS = (
    VOLTAGE,
    CURRENT,
    RESISTANCE,
    POWER,
    TIME,
    FREQUENCY,
    TEMPERATURE,
    TEMPERATURE_DIFFERENCE,
    RATIO,
    LENGTH,
    AREA,
    RATIO_PER_KELVIN,
    VOLTAGE_PER_KELVIN,
    CURRENT_PER_KELVIN,
    KELVIN_PER_KELVIN,
    KELVIN_PER_WATT,
    VOLTAGE_RATE,
    CURRENT_RATE,
    TEMPERATURE_RATE,
)


def split_unit(text: str, dimension: Dimension) -> tuple[str, Fraction] | None:
    """Return the prefix and the factor of a unit in a dimension, or None where it has none.

    `text` is already in its one spelling (`sequencer.documents.parsing.one_spelling`).
    """
    if text in dimension.plain:
        return "", dimension.plain[text]
    if text in dimension.prefixed:
        return "", dimension.prefixed[text]
    if text[:1] in PREFIXES and text[1:] in dimension.prefixed:
        return text[0], dimension.prefixed[text[1:]]
    return None


def dimensions_of(text: str) -> tuple[Dimension, ...]:
    """Return the dimensions in which a unit is known."""
    return tuple(d for d in DIMENSIONS if text and split_unit(text, d) is not None)
