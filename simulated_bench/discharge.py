"""Output off: drive removed, bleeder and load discharge the output capacitor.

``C·dV/dt = −V/R − I_load(V)``, solved in closed form phase by phase: alone ``V₀·exp(−t/RC)``;
with a constant current ``(V₀ + I·R)·exp(−t/RC) − I·R``; with constant power
``V² = (V₀² + P·R)·exp(−2t/RC) − P·R``; at the load's floor its on-resistance beside the bleeder.
The leads' milliohms are left out: they change the time constant by parts in 10⁵.
"""

from math import exp, log, sqrt

from simulated_bench.load import LoadParts, LoadSetting


def voltage_after(
    start_v: float,
    elapsed_s: float,
    bleeder_ohm: float,
    capacitance_f: float,
    setting: LoadSetting,
    parts: LoadParts,
) -> float:
    """Return the voltage of the output capacitor some time after the drive was removed."""
    tau = bleeder_ohm * capacitance_f
    level = setting.level
    if not setting.on or start_v <= 0.0:
        return start_v * exp(-elapsed_s / tau)
    on_ohm = parts.on_resistance_ohm
    match setting.mode:
        case "resistance":
            ohm = max(level, on_ohm)
            return start_v * exp(-elapsed_s / (tau * ohm / (ohm + bleeder_ohm)))
        case "voltage":
            return _to_voltage(start_v, elapsed_s, bleeder_ohm, capacitance_f, level, parts)
        case "current":
            level = min(level, parts.greatest_current_a)
            floor, far = level * on_ohm, level * bleeder_ohm
            if start_v > floor:
                until = tau * log((start_v + far) / (floor + far)) if level > 0.0 else elapsed_s
                if elapsed_s <= until:
                    return (start_v + far) * exp(-elapsed_s / tau) - far
                start_v, elapsed_s = floor, elapsed_s - until
        case "power":
            floor, far = sqrt(level * on_ohm), level * bleeder_ohm
            if start_v > floor:
                until = 0.5 * tau * log((start_v**2 + far) / (floor**2 + far)) if far else elapsed_s
                if elapsed_s <= until:
                    return sqrt((start_v**2 + far) * exp(-2.0 * elapsed_s / tau) - far)
                start_v, elapsed_s = floor, elapsed_s - until
    return start_v * exp(-elapsed_s / (tau * on_ohm / (on_ohm + bleeder_ohm)))


def _to_voltage(
    start_v: float,
    elapsed_s: float,
    bleeder_ohm: float,
    capacitance_f: float,
    level: float,
    parts: LoadParts,
) -> float:
    """Return the voltage with a constant-voltage load: fast down to its level, then the bleeder."""
    tau = bleeder_ohm * capacitance_f
    if start_v <= level:
        return start_v * exp(-elapsed_s / tau)
    loop = max(parts.voltage_mode_ohm, parts.on_resistance_ohm)
    end = level * bleeder_ohm / (bleeder_ohm + loop)
    fast = capacitance_f * bleeder_ohm * loop / (bleeder_ohm + loop)
    if level <= 0.0:
        return start_v * exp(-elapsed_s / fast)
    until = fast * log((start_v - end) / (level - end))
    if elapsed_s <= until:
        return end + (start_v - end) * exp(-elapsed_s / fast)
    return level * exp(-(elapsed_s - until) / tau)
