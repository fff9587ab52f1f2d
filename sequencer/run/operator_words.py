"""The sentences that a person at the unit is given; one place, so they are always the same."""

from typing import Literal

SWITCH_OUTPUT_ON = "Switch the output on."
SWITCH_OUTPUT_OFF = "Switch the output off."
SWITCH_LINE_ON = "Switch the supply on at the line."
SWITCH_LINE_OFF = "Switch the supply off at the line."

PRESS_OUTPUT_OFF = (
    "The unit's output is switched by hand, not by wire: switch it off at the unit NOW."
)
PULL_THE_PLUG = "The unit's line switch is worked by hand: switch it off, or pull its plug, NOW."
WAIT_FOR_DISCHARGE = "The output may still hold charge: let it run down before you touch anything."


DISCONNECT_RESISTORS = "Disconnect the resistors from the load's terminals."
TAKE_RESISTORS_OFF = (
    "Resistors may still be connected across the load: they draw current whenever the output is "
    "on, with the load off too. Switch the supply off, then take them off; they may be hot enough "
    "to burn."
)


def connect_resistor(number: int, ohm: float, *, connected: bool) -> str:
    """Return the instruction for one resistor across the load's terminals."""
    where = "across the load's terminals" if connected else "from the load's terminals"
    verb = "Connect" if connected else "Disconnect"
    return f"{verb} resistor {number} ({ohm:.4g} ohm) {where}."


def leads_at(place: str) -> str:
    """Return the instruction to see to it that the leads are at a place before the start."""
    return f"Make sure that the leads of the meter are at the {place}."


PLACES = {
    "voltage.sense": "at the sense points",
    "voltage.load": "at the load's terminals",
    "voltage.terminals": "at the unit's output terminals",
    "current.panel": "on the unit's panel",
}
"""Where a person looks for what a channel is."""


def read_meter(meter: str, channel: str, leads: str | None) -> str:
    """Return the instruction to read a meter and type its value."""
    place = f"at the {leads}" if leads else PLACES.get(channel, f"for {channel}")
    return f"Read the meter {meter} {place} and type what it shows."


def again(meter: str) -> str:
    """Return the instruction to read a meter once more."""
    return f"Read the meter {meter} again and type what it shows."


def set_voltage(volts: float) -> str:
    """Return the instruction for the voltage setting."""
    return f"Set the output voltage to {volts:.3f} V."


def set_current_limit(limit: float | Literal["maximum"]) -> str:
    """Return the instruction for the current-limit knob."""
    if limit == "maximum":
        return "Turn the current limit fully up."
    return f"Set the current limit to {limit:.3f} A."
