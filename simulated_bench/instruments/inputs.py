"""Digital inputs that watch the bench: smoke detector, interlock, emergency stop, line."""

from simulated_bench.instruments.more_tables import InputsTable
from simulated_bench.instruments.surroundings import Surroundings
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import ChannelList


class Inputs:
    """One row of inputs, 1 when raised; what was raised in between is latched until it is read.

    Bit n − 1 of the questionable status is input n.
    """

    def __init__(self, table: InputsTable, around: Surroundings) -> None:
        self._names = table.names
        self._world = around.time.world
        self._register = around.status.questionable
        self._latched: set[int] = set()
        around.time.watchers.append(self.watch)

    def commands(self) -> tuple[Command, ...]:
        """Return the table; without a list, all inputs are told."""
        channels, question = (ChannelList(optional=True),), Kind.QUESTION
        return (
            Command("INPut[:STATe]?", self._state, channels, question),
            Command("INPut:EVENt?", self._events, channels, question),
            Command("INPut:NAME?", self._called, channels, question),
        )

    def reset(self) -> None:
        """Forget what was latched."""
        self._latched.clear()

    def watch(self) -> None:
        """Latch what is raised now."""
        bits = 0
        for number, name in enumerate(self._names, start=1):
            if self._world.interlock(name):
                self._latched.add(number)
                bits |= 1 << (number - 1)
        self._register.set(bits)

    def _state(self, inputs: tuple[int, ...] | None = None) -> str:
        self.watch()
        return ",".join(
            str(int(self._world.interlock(self._names[n - 1]))) for n in self._asked(inputs)
        )

    def _events(self, inputs: tuple[int, ...] | None = None) -> str:
        self.watch()
        asked = self._asked(inputs)
        answer = ",".join(str(int(number in self._latched)) for number in asked)
        self._latched -= set(asked)
        return answer

    def _called(self, inputs: tuple[int, ...] | None = None) -> str:
        return ",".join(f'"{self._names[number - 1]}"' for number in self._asked(inputs))

    def _asked(self, inputs: tuple[int, ...] | None) -> tuple[int, ...]:
        asked = inputs or tuple(range(1, len(self._names) + 1))
        for number in asked:
            if not 1 <= number <= len(self._names):
                raise ScpiError(-222, f"input {number}, there are 1 to {len(self._names)}")
        return asked
