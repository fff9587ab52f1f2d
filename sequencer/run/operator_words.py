"""The sentences that a person at the unit is given; one place, so they are always the same."""

from typing import Literal

SWITCH_OUTPUT_ON = "Switch the output on."
SWITCH_OUTPUT_OFF = "Switch the output off."


def set_voltage(volts: float) -> str:
    """Return the instruction for the voltage setting."""
    return f"Set the output voltage to {volts:.3f} V."


def set_current_limit(limit: float | Literal["maximum"]) -> str:
    """Return the instruction for the current-limit knob."""
    if limit == "maximum":
        return "Turn the current limit fully up."
    return f"Set the current limit to {limit:.3f} A."
