"""Which factor, offset and unit a chart's axis is drawn in, and how its label says so."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

HOUR_S = 3600.0
MINUTE_S = 60.0
LONG_IN_HOURS_S = 2.0 * HOUR_S
"""From here on a time axis reads in hours."""
LONG_IN_MINUTES_S = 4.0 * MINUTE_S
"""From here on a time axis reads in minutes."""
OFFSET_SHARE = 0.02
"""A span below this share of the values is drawn as the departure from a stated round value."""

PREFIXES = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
SCALED = {"V", "A", "W", "ohm", "V/s", "V/K", "A/s", "Hz", "F"}
SPELLED = {"ohm": "Ω", "degc": "°C", "degC": "°C", "1": ""}


@dataclass(frozen=True, slots=True)
class Scale:
    """Drawn value = (SI value - offset) / factor; `label` names quantity, offset and unit."""

    factor: float
    offset: float
    label: str

    def of(self, value: float) -> float:
        """Return the drawn value of an SI value."""
        return (value - self.offset) / self.factor


def choose(label: str, unit: str, values: Iterable[float]) -> Scale:
    """Choose an axis's scale from all SI values that it shows.

    The unit's prefix makes the greatest magnitude lie between 1 and 1000; a narrow band far from
    zero is drawn as the departure from a round value, which the label states.
    """
    finite = [value for value in values if math.isfinite(value)]
    low, high = (min(finite), max(finite)) if finite else (0.0, 0.0)
    if unit == "s":
        factor, spelled = _time_unit(max(abs(low), abs(high)))
        return Scale(factor, 0.0, _label(label, spelled))
    offset, decimals = _offset(low, high)
    greatest = max(abs(low - offset), abs(high - offset))
    factor, spelled = _prefixed(unit, greatest)
    if offset:
        label = f"{label} − {offset:.{decimals}f} {SPELLED.get(unit, unit)}".rstrip()
    return Scale(factor, offset, _label(label, spelled))


def _time_unit(longest_s: float) -> tuple[float, str]:
    if longest_s >= LONG_IN_HOURS_S:
        return HOUR_S, "h"
    if longest_s >= LONG_IN_MINUTES_S:
        return MINUTE_S, "min"
    return 1.0, "s"


def _offset(low: float, high: float) -> tuple[float, int]:
    """Return a round offset and its decimals; 0 where the band is wide or lies at zero."""
    span, greatest = high - low, max(abs(low), abs(high))
    if not 0.0 < span < OFFSET_SHARE * greatest:
        return 0.0, 0
    exponent = math.ceil(math.log10(span))
    decimals = max(0, -exponent)
    return round(round((low + high) / 2.0 / 10.0**exponent) * 10.0**exponent, decimals), decimals


def _prefixed(unit: str, greatest: float) -> tuple[float, str]:
    spelled = SPELLED.get(unit, unit)
    if unit not in SCALED or not greatest > 0.0:
        return 1.0, spelled
    exponent = 3 * math.floor(math.log10(greatest) / 3.0 + 1e-9)
    exponent = min(max(exponent, min(PREFIXES)), max(PREFIXES))
    return 10.0**exponent, PREFIXES[exponent] + spelled


def _label(label: str, unit: str) -> str:
    return f"{label} / {unit}" if unit else label
