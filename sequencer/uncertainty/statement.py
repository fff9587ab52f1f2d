"""A meter's accuracy statement by component, as numbers."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

from sequencer.errors import FigureError


@dataclass(frozen=True, slots=True)
class Accuracy:
    """An accuracy statement by component.

    All but `noise`, `resolution` and what is certified are half-widths of rectangular
    distributions.

    Attributes
    ----------
    gain
        Relative error of the gain (0.003 % is 3e-5).
    offset
        V (or the channel's unit).
    noise
        Standard deviation of one reading.
    resolution
        The step between two readings; the rounding error is within half of it.
    temperature_gain, temperature_offset
        Per kelvin, relative and absolute.
    temperature_span
        How far the room may be from the calibration temperature, K.
    stability_gain, stability_offset
        Change over a day, relative and absolute.
    thermal_emf
        V, of the leads and connections; taken to change by up to this between two readings.
    shunt
        Ohm. When given, values are amperes through it, and `offset`, `noise`, `resolution`,
        `temperature_offset`, `stability_offset`, `thermal_emf` are volts across it.
    channel
        Whose statement it is; named in every component, as a budget often holds several.
    unit
        The meter's own unit, of its offset and its like.
    shunt_tolerance, shunt_temperature
        Relative, and relative per kelvin of `temperature_span`.
    certified_gain, certified_offset, certified_shunt
        Standard uncertainties (normal) of what a certificate states; readings are corrected.
    aged_gain, aged_offset
        Greatest change since calibration, relative and absolute.
    """

    gain: float = 0.0
    offset: float = 0.0
    noise: float = 0.0
    resolution: float = 0.0
    temperature_gain: float = 0.0
    temperature_offset: float = 0.0
    temperature_span: float = 0.0
    stability_gain: float = 0.0
    stability_offset: float = 0.0
    thermal_emf: float = 0.0
    shunt: float | None = None
    shunt_tolerance: float = 0.0
    shunt_temperature: float = 0.0
    certified_gain: float = 0.0
    certified_offset: float = 0.0
    certified_shunt: float = 0.0
    aged_gain: float = 0.0
    aged_offset: float = 0.0
    channel: str = ""
    unit: str = "V"

    def __post_init__(self) -> None:
        """Refuse negative or infinite parts."""
        for one in fields(self):
            if one.name in {"channel", "unit"}:
                continue
            value = getattr(self, one.name)
            if value is not None and not (math.isfinite(value) and value >= 0):
                raise FigureError(
                    f"accuracy, {one.name}: found {value:g}, expected a number not below zero."
                )
        if self.shunt == 0:
            raise FigureError("accuracy, shunt: found 0 ohm, expected a resistance above zero.")

    @property
    def per_volt(self) -> float:
        """Return the factor from the meter's own unit to the channel's: 1, or 1/shunt."""
        return 1.0 if self.shunt is None else 1.0 / self.shunt


def with_terminals(own: Mapping[str, float], terminals: Mapping[str, float]) -> dict[str, float]:
    """Return a thermocouple's statement together with that of its terminals' thermometer.

    An error there is one of the result, nearly one to one: types K and T give within a few percent
    as much per kelvin at the terminals as at a warm heatsink (NIST ITS-90 tables). Bounds add up,
    scatter and rounding by squares.
    """
    both = {key: own[key] + terminals[key] for key in own}
    for key in ("noise", "resolution"):
        both[key] = math.hypot(own[key], terminals[key])
    both["temperature_span"] = max(own["temperature_span"], terminals["temperature_span"])
    return both
