"""The electronic load: what it draws at a voltage, in each mode.

Every mode ends at the fully driven transistor: ``I ≤ V/R_on`` with ``R_on`` from the lowest working
voltage at the rated current. So a constant-current load above the supply's limit pulls the output
down to the load's floor, as real ones do. Constant voltage has a small loop resistance.
"""

from dataclasses import dataclass
from typing import Literal

LoadMode = Literal["current", "voltage", "resistance", "power"]


@dataclass(frozen=True, slots=True)
class LoadParts:
    """What the load can do."""

    on_resistance_ohm: float
    voltage_mode_ohm: float
    greatest_current_a: float
    rise_s: float = 0.0
    """Time that a change of its current takes."""


@dataclass(frozen=True, slots=True)
class LoadSetting:
    """Mode, level (A, V, Ω or W) and input switch."""

    mode: LoadMode = "current"
    level: float = 0.0
    on: bool = False
    parallel_s: float = 0.0
    """Conductance of resistors switched across the load's terminals."""


def draw_current(parts: LoadParts, setting: LoadSetting, voltage: float) -> tuple[float, float]:
    """Return the current at a voltage across the load's terminals, and its slope dI/dV.

    Resistors in parallel to the load add ``V·G``.
    """
    own, slope = own_current(parts, setting, voltage)
    if setting.parallel_s > 0.0 and voltage > 0.0:
        return own + voltage * setting.parallel_s, slope + setting.parallel_s
    return own, slope


def own_current(parts: LoadParts, setting: LoadSetting, voltage: float) -> tuple[float, float]:
    """Return what the load alone draws, and the slope."""
    if not setting.on or voltage <= 0.0:
        return 0.0, 0.0
    level = setting.level
    floor = voltage / parts.on_resistance_ohm
    match setting.mode:
        case "current":
            current, slope = level, 0.0
        case "voltage":
            over = voltage - level
            if over <= 0.0:
                return 0.0, 0.0
            current, slope = over / parts.voltage_mode_ohm, 1.0 / parts.voltage_mode_ohm
        case "resistance":
            if level <= 0.0:
                return floor, 1.0 / parts.on_resistance_ohm
            current, slope = voltage / level, 1.0 / level
        case "power":
            if level * parts.on_resistance_ohm >= voltage * voltage:
                return floor, 1.0 / parts.on_resistance_ohm
            current, slope = level / voltage, -level / (voltage * voltage)
    if current > parts.greatest_current_a:
        current, slope = parts.greatest_current_a, 0.0
    if current > floor:
        return floor, 1.0 / parts.on_resistance_ohm
    return current, slope
