"""The voltage setting: switch positions that add up, each with its own error, and a trimmer.

``V_set = Σ w_k·(1 + e_k) over the positions that are on + trimmer + wiper jumps``. The errors are
drawn once per unit. A worn trimmer's wiper jumps to another level at random moments.
"""

from dataclasses import dataclass
from typing import Final

from simulated_bench.noise import GridSeries

ROUNDING_V: Final = 1e-9
"""30 V must take the 2 V switch although decimal fractions are not exact in binary."""


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

    What the trimmer can't reach stays missing, as on the real thing.
    """
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
