"""The voltage setting: switch positions that add up, each with its own error, and a trimmer.

``V_set = Σ w_k·(1 + e_k) over the positions that are on + trimmer + wiper jumps``. The errors are
drawn once per unit. A worn trimmer's wiper jumps to another level at random moments.

A supply that is controlled from afar has a converter instead:
``V_set = step·round(wanted/step)·(1 + gain) + offset``, and its limit likewise.
"""

from dataclasses import dataclass
from typing import Final

from simulated_bench.noise import GridSeries

ROUNDING_V: Final = 1e-9
"""30 V must take the 2 V switch although decimal fractions are not exact in binary."""


@dataclass(frozen=True, slots=True)
class RemoteParts:
    """Steps, gains and offsets of a remote control; V and A."""

    voltage_step_v: float
    voltage_gain: float
    voltage_offset_v: float
    current_step_a: float
    current_gain: float
    current_offset_a: float

    def voltage(self, wanted_v: float) -> float:
        """Return the voltage that a programmed value really sets."""
        return self.nominal(wanted_v) * (1.0 + self.voltage_gain) + self.voltage_offset_v

    def nominal(self, wanted_v: float) -> float:
        """Return the step nearest to a programmed value."""
        return self.voltage_step_v * round(wanted_v / self.voltage_step_v)

    def current(self, wanted_a: float) -> float:
        """Return the limit that a programmed value really sets."""
        stepped = self.current_step_a * round(wanted_a / self.current_step_a)
        return stepped * (1.0 + self.current_gain) + self.current_offset_a


@dataclass(frozen=True, slots=True)
class SettingParts:
    """The switches' weights (V, descending), their relative errors and the trimmer's span."""

    weights_v: tuple[float, ...]
    errors: tuple[float, ...]
    trimmer_from_v: float
    trimmer_to_v: float
    wiper: GridSeries | None = None
    slip_v: float = 0.0
    """What a trimmer that has jumped adds."""
    remote: RemoteParts | None = None


@dataclass(frozen=True, slots=True)
class Setting:
    """Where switches and trimmer stand.

    `nominal_v` is what the scales say, `volts` what the positions really add up to, without the
    wiper's jumps.
    """

    switches: tuple[bool, ...]
    trimmer_v: float
    nominal_v: float
    volts: float


def dial(parts: SettingParts, wanted_v: float) -> Setting:
    """Return the position a person dials: the largest switches first, the trimmer for the rest.

    What the trimmer can't reach stays missing, as on the real thing. A remote-controlled unit takes
    the step nearest to what was asked.
    """
    if parts.remote is not None:
        return Setting((), 0.0, parts.remote.nominal(wanted_v), parts.remote.voltage(wanted_v))
    rest = wanted_v
    switches = []
    for weight in parts.weights_v:
        on = weight <= rest + ROUNDING_V
        switches.append(on)
        rest -= weight if on else 0.0
    trimmer_v = min(max(rest, parts.trimmer_from_v), parts.trimmer_to_v)
    return _standing(parts, tuple(switches), trimmer_v)


def turned(parts: SettingParts, setting: Setting, by_v: float) -> Setting:
    """Return the setting changed by a voltage: the trimmer if it reaches, else dialled anew."""
    trimmer_v = setting.trimmer_v + by_v
    if parts.remote is not None:
        return dial(parts, setting.nominal_v + by_v)
    if parts.trimmer_from_v <= trimmer_v <= parts.trimmer_to_v:
        return _standing(parts, setting.switches, trimmer_v)
    return dial(parts, setting.nominal_v + by_v)


def _standing(parts: SettingParts, switches: tuple[bool, ...], trimmer_v: float) -> Setting:
    nominal_v = volts = trimmer_v
    for weight, error, on in zip(parts.weights_v, parts.errors, switches, strict=True):
        if on:
            nominal_v += weight
            volts += weight * (1.0 + error)
    return Setting(switches, trimmer_v, nominal_v, volts)
