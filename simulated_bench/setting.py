"""The voltage setting: switch positions that add up, each with its own error, and a trimmer.

``V_set = Σ w_k·(1 + e_k) over the positions that are on + trimmer + wiper jumps``. The errors are
drawn once per unit. A worn trimmer's wiper jumps to another level at random moments.
"""

from dataclasses import dataclass

from simulated_bench.noise import GridSeries


@dataclass(frozen=True, slots=True)
class SettingParts:
    """The switches' weights (V, descending), their relative errors and the trimmer's span."""

    weights_v: tuple[float, ...]
    errors: tuple[float, ...]
    trimmer_from_v: float
    trimmer_to_v: float
    wiper: GridSeries | None = None


@dataclass(frozen=True, slots=True)
class Setting:
    """Where switches and trimmer stand."""

    switches: tuple[bool, ...]
    trimmer_v: float

    def nominal(self, parts: SettingParts) -> float:
        """Return what the knobs' scales say."""
        return self.trimmer_v + sum(
            weight for weight, on in zip(parts.weights_v, self.switches, strict=True) if on
        )

    def volts(self, parts: SettingParts) -> float:
        """Return what the positions really add up to, without the wiper's jumps."""
        return self.trimmer_v + sum(
            weight * (1.0 + error)
            for weight, error, on in zip(parts.weights_v, parts.errors, self.switches, strict=True)
            if on
        )


def dial(parts: SettingParts, wanted_v: float) -> Setting:
    """Return the position a person dials: the largest switches first, the trimmer for the rest.

    What the trimmer can't reach stays missing, as on the real thing.
    """
    rest = wanted_v
    switches = []
    for weight in parts.weights_v:
        on = weight <= rest + 1e-9  # 30 V must take the 2 V switch in spite of rounding
        switches.append(on)
        rest -= weight if on else 0.0
    return Setting(tuple(switches), min(max(rest, parts.trimmer_from_v), parts.trimmer_to_v))


def trimmed(parts: SettingParts, setting: Setting, by_v: float) -> Setting:
    """Return the setting with its trimmer turned, as far as it goes."""
    trimmer_v = min(max(setting.trimmer_v + by_v, parts.trimmer_from_v), parts.trimmer_to_v)
    return Setting(setting.switches, trimmer_v)
