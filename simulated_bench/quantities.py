"""Reads quantities as text with a unit: "30 mV", "1 mΩ ± 30 %", "20 ppm/K".

The result is SI, temperatures in degrees Celsius. A quantity may carry a half-width: the value of
one bench is then drawn from the rectangular distribution of that half-width about the nominal one.
"""

import re
from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal

from pydantic import GetPydanticSchema
from pydantic_core import core_schema
from quantiphy import InvalidNumber, Quantity

from simulated_bench.errors import QuantityError

_NUMBER = re.compile(
    r"^\s*(?P<number>[+-]?(?:\d+(?:[ _]\d{3})*(?:\.\d+)?|\.\d+)(?:[eE][+-]?\d+)?)"
    r"\s*(?P<unit>.*?)\s*$"
)

SECONDS_PER_MINUTE: Final = 60.0
SECONDS_PER_HOUR: Final = 3600.0

SPELLINGS: Final[dict[str, tuple[str, ...]]] = {
    "V": ("V",),
    "A": ("A",),
    "ohm": ("Ω", "Ohm", "ohm"),
    "F": ("F",),
    "H": ("H",),
    "Hz": ("Hz",),
    "s": ("s",),
    "W": ("W",),
    "K/W": ("K/W",),
    "J/K": ("J/K",),
    "A/V": ("A/V", "S"),
    "K": ("K",),
}
"""Dimension → unit names that take SI prefixes."""

SPECIAL: Final[dict[str, dict[str, float]]] = {
    "s": {"min": SECONDS_PER_MINUTE, "h": SECONDS_PER_HOUR, "d": 24 * SECONDS_PER_HOUR},
    "degC": {"°C": 1.0, "degC": 1.0},
    "1": {"": 1.0, "%": 1e-2, "ppm": 1e-6},
    "1/K": {"1/K": 1.0, "%/K": 1e-2, "ppm/K": 1e-6},
    "m": {"m": 1.0, "cm": 1e-2, "mm": 1e-3},
    "m2": {"mm²": 1e-6, "mm2": 1e-6},
    "Hz": {"1/h": 1 / SECONDS_PER_HOUR, "1/s": 1.0},
    "V/V": {"V/V": 1.0, "mV/V": 1e-3, "µV/V": 1e-6, "uV/V": 1e-6},
}
"""Dimension → exact unit texts that an SI prefix would misread, or that have none."""


@dataclass(frozen=True, slots=True)
class Uncertain:
    """A nominal value with the half-width of its rectangular spread between benches, both SI."""

    nominal: float
    half_width: float = 0.0


def parse(text: str, dimension: str) -> Uncertain:
    """Read a quantity of a dimension, with an optional spread after ``±``.

    A spread in % is relative to the nominal value, unless that is itself in %.

    Raises
    ------
    QuantityError
        If the text is not a number with a unit of that dimension.
    """
    nominal_text, mark, spread_text = text.partition("±")
    nominal = _plain(nominal_text, dimension)
    if not mark:
        return Uncertain(nominal)
    spread_unit = spread_text.strip().lstrip("0123456789. ")
    nominal_unit = nominal_text.strip().lstrip("+-0123456789. ")
    if spread_unit == "%" and nominal_unit != "%":
        return Uncertain(nominal, abs(nominal) * _plain(spread_text, "1"))
    if not spread_text.strip():
        raise QuantityError(f"found {text!r}, expected a spread after ±, such as ± 5 %")
    return Uncertain(nominal, _plain(spread_text, dimension))


def _plain(text: str, dimension: str) -> float:
    match = _NUMBER.match(text)
    if match is None:
        raise QuantityError(
            f"found {text.strip()!r}, expected a number with {_expected(dimension)}"
        )
    number = float(match["number"].replace(" ", "").replace("_", ""))
    unit = match["unit"].replace("μ", "µ").replace("\N{OHM SIGN}", "Ω")
    special = SPECIAL.get(dimension, {})
    if unit in special:
        return number * special[unit]
    spellings = SPELLINGS.get(dimension, ())
    if unit in spellings:
        return number
    try:
        scaled = Quantity(f"1 {unit}")
    except InvalidNumber:
        scaled = None
    if scaled is None or scaled.units not in spellings:
        raise QuantityError(
            f"found {text.strip()!r}, expected a number with {_expected(dimension)}"
        )
    return number * float(scaled)


def _expected(dimension: str) -> str:
    names = [*SPELLINGS.get(dimension, ()), *SPECIAL.get(dimension, {})]
    return "a unit such as " + ", ".join(name or "none" for name in names)


def _schema(dimension: str, sign: Literal["any", "not negative", "positive"] = "any") -> Any:
    def read(value: Any) -> Uncertain:
        if isinstance(value, Uncertain):
            return value
        if not isinstance(value, str):
            raise QuantityError(
                f"found {value!r}, expected text with {_expected(dimension)}, in quotes"
            )
        quantity = parse(value, dimension)
        least = quantity.nominal - quantity.half_width
        if (sign == "positive" and least <= 0.0) or (sign == "not negative" and least < 0.0):
            raise QuantityError(f"found {value!r}, expected a value that is always {sign}")
        return quantity

    return GetPydanticSchema(
        lambda _source, _handler: core_schema.no_info_plain_validator_function(read)
    )


Volts = Annotated[Uncertain, _schema("V")]
PositiveVolts = Annotated[Uncertain, _schema("V", "positive")]
Amperes = Annotated[Uncertain, _schema("A", "not negative")]
PositiveAmperes = Annotated[Uncertain, _schema("A", "positive")]
AmperesOfEitherSign = Annotated[Uncertain, _schema("A")]
Ohms = Annotated[Uncertain, _schema("ohm", "positive")]
OhmsOrNone = Annotated[Uncertain, _schema("ohm", "not negative")]
Farads = Annotated[Uncertain, _schema("F", "positive")]
Henries = Annotated[Uncertain, _schema("H", "positive")]
PositiveHertz = Annotated[Uncertain, _schema("Hz", "positive")]
Rate = Annotated[Uncertain, _schema("Hz", "not negative")]
Seconds = Annotated[Uncertain, _schema("s", "positive")]
BenchTime = Annotated[Uncertain, _schema("s", "not negative")]
SecondsOfEitherSign = Annotated[Uncertain, _schema("s")]
KelvinPerWatt = Annotated[Uncertain, _schema("K/W", "positive")]
JoulesPerKelvin = Annotated[Uncertain, _schema("J/K", "positive")]
Siemens = Annotated[Uncertain, _schema("A/V", "not negative")]
Kelvins = Annotated[Uncertain, _schema("K")]
PositiveKelvins = Annotated[Uncertain, _schema("K", "positive")]
DegreesCelsius = Annotated[Uncertain, _schema("degC")]
Ratio = Annotated[Uncertain, _schema("1")]
PerKelvin = Annotated[Uncertain, _schema("1/K")]
VoltsPerVolt = Annotated[Uncertain, _schema("V/V")]
