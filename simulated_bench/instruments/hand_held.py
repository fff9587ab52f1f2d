"""A hand-held meter without an interface: only a person reads its display.

shown = step·round((true·(1 + g) + o)/step) with g and o drawn once from rectangular distributions;
a value of more counts than the display has is an overload. The port that it has as every instrument
on the table answers ``*IDN?`` and nothing else.
"""

from simulated_bench.instruments.instrument_table import drawn
from simulated_bench.instruments.more_tables import HandHeldTable
from simulated_bench.instruments.surroundings import Surroundings
from simulated_bench.scpi.commands import Command


class HandHeld:
    """One meter at one place."""

    def __init__(self, table: HandHeldTable, around: Surroundings) -> None:
        self._table = table
        self._gain = drawn(table.gain, around.uniform())
        self._offset_steps = drawn(table.digits, around.uniform())
        self._world = around.time.world
        around.displays[around.name] = self.shows

    def commands(self) -> tuple[Command, ...]:
        """Return none: it has no interface."""
        return ()

    def reset(self) -> None:
        """Do nothing: nobody can ask for it."""

    def shows(self) -> str:
        """Return what stands on the display, with its unit."""
        table, world = self._table, self._world
        volts = table.measures == "voltage"
        true = world.voltage(table.place) if volts else world.current("wiring")
        step = table.step.nominal
        counts = round(true * (1.0 + self._gain) / step + self._offset_steps)
        if abs(counts) > table.counts:
            return "OL"
        decimals = max(0, -int(f"{step:e}".partition("e")[2]))
        return f"{counts * step:.{decimals}f} {'V' if volts else 'A'}"
