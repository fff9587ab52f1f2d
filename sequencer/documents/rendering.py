"""The one place that formats a quantity for people."""

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from math import floor, isfinite, isnan, log10

from quantiphy import Quantity

from sequencer.documents.dimensions import HOUR_S, MINUTE_S


class _Shown(Quantity):
    """A quantity as we print it; a class of its own keeps quantiphy's defaults alone."""


_Shown.set_prefs(output_sf="pnumkMG", map_sf={"u": "µ"}, spacer=" ", strip_zeros=True)

SMALLEST_EXPONENT = -12
GREATEST_EXPONENT = 9
_LETTERS = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}


@dataclass(frozen=True, slots=True)
class _Face:
    """How a unit is shown: factor from SI, symbol, and whether it takes SI prefixes."""

    factor: float
    symbol: str
    prefixes: bool


_FACES = {
    **{unit: _Face(1.0, unit, prefixes=True) for unit in ("V", "A", "W", "Hz", "K", "m")},
    **{unit: _Face(1.0, unit, prefixes=True) for unit in ("V/K", "A/K", "A/s", "K/W")},
    "ohm": _Face(1.0, "Ω", prefixes=True),
    "Ω": _Face(1.0, "Ω", prefixes=True),
    "°C": _Face(1.0, "°C", prefixes=False),
    "K/K": _Face(1.0, "K/K", prefixes=False),
    "1": _Face(1.0, "", prefixes=False),
    "%": _Face(100.0, "%", prefixes=False),
    "1/K": _Face(1e6, "ppm/K", prefixes=False),
    "m²": _Face(1e6, "mm²", prefixes=False),
    "V/s": _Face(float(HOUR_S), "V/h", prefixes=True),
    "K/s": _Face(float(MINUTE_S), "K/min", prefixes=False),
}


def _face(unit: str, size: float) -> _Face:
    """Return how a unit is shown; times of two minutes and two hours change unit."""
    if unit == "s":
        if size >= 2 * HOUR_S:
            return _Face(1 / HOUR_S, "h", prefixes=False)
        if size >= 2 * MINUTE_S:
            return _Face(1 / MINUTE_S, "min", prefixes=False)
        return _Face(1.0, "s", prefixes=size < 1)
    try:
        return _FACES[unit]
    except KeyError:
        raise ValueError(
            f"no way to show the unit {unit!r}; known: {', '.join(_FACES)}, s"
        ) from None


def format_quantity(value: float, unit: str, digits: int = 4) -> str:
    """Return a quantity as people read it, such as "3.12 mV" or "8 h".

    Parameters
    ----------
    value : float
        In SI units (degrees Celsius for "°C"; a fraction for "%").
    unit : str
        V, A, ohm, W, s, Hz, °C, K, 1, %, m, m², 1/K, V/K, A/K, K/K, K/W, V/s, A/s or K/s. Rates of
        voltage are shown per hour, of temperature per minute, long times in minutes or hours.
    digits : int
        Significant digits at most; zeros at the end are left away.
    """
    if isnan(value):
        return "no value"
    face = _face(unit, abs(value))
    if not isfinite(value):
        return _joined("∞" if value > 0 else "−∞", face.symbol)
    scaled = value * face.factor
    if face.prefixes:
        text = str(_Shown(scaled, face.symbol).render(prec=digits - 1))
    else:
        text = _joined(_plain(scaled, digits), face.symbol)
    return text.replace("-", "−", 1) if text.startswith("-") else text


def format_with_uncertainty(value: float, u: float, unit: str) -> str:
    """Return a value with its uncertainty, such as "3.12 mV ± 0.18 mV".

    The uncertainty has two significant digits and the value as many decimals (JCGM 100, 7.2.6).
    Both are in SI units, as in `format_quantity`.
    """
    if not isfinite(value) or not isfinite(u) or u <= 0:
        return f"{format_quantity(value, unit)} ± {format_quantity(u, unit)}"
    face = _face(unit, max(abs(value), u))
    scaled, spread = value * face.factor, u * face.factor
    exponent = _exponent(max(abs(scaled), spread)) if face.prefixes else 0
    symbol = _LETTERS[exponent] + face.symbol
    shift = Decimal(10) ** -exponent
    short = Decimal(f"{Decimal(repr(spread)) * shift:.1e}")
    place = Decimal(10) ** min(0, short.adjusted() - 1)
    rounded = (Decimal(repr(scaled)) * shift).quantize(
        Decimal(10) ** (short.adjusted() - 1), ROUND_HALF_EVEN
    )
    shown = abs(rounded) if rounded == 0 else rounded  # no minus before nothing
    number = f"{shown.quantize(place):f}".replace("-", "−")
    return f"{_joined(number, symbol)} ± {_joined(f'{short.quantize(place):f}', symbol)}"


def _exponent(size: float) -> int:
    """Return the exponent of the SI prefix for a size."""
    exponent = 3 * floor(log10(size) / 3) if size > 0 else 0
    return min(max(exponent, SMALLEST_EXPONENT), GREATEST_EXPONENT)


def _plain(value: float, digits: int) -> str:
    """Return a number without prefix, in figures where that is readable."""
    text = f"{value:.{digits}g}"
    return f"{Decimal(text):f}" if 1e-6 <= abs(value) < 1e9 else text


def _joined(number: str, symbol: str) -> str:
    return f"{number} {symbol}" if symbol else number
