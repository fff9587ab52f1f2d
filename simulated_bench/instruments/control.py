"""The control instrument: puts faults into a running bench and tells what happened when.

``FAULt:ADD "instrument = 'load', what = 'trip', at = '10 min'"`` takes the same words as a table
``[[faults]]`` of a scenario; without an instrument it is a fault of the unit or the room. Nothing
here costs bench time.

Two faults befall the computer that asks, which a simulated bench can't touch: it announces them, in
the log and as ``HOST:…?``, and whoever tests a program lets them happen to it.
"""

from typing import Final

from simulated_bench.faces import WorldFace
from simulated_bench.instruments.faults.book import FaultBook
from simulated_bench.instruments.faults.entries import read_text
from simulated_bench.instruments.faults.fault import Fault
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Text

MOST_EVENTS: Final = 1000
"""In one answer."""


class Control:
    """The bench's faults as an instrument."""

    def __init__(self, book: FaultBook, world: WorldFace) -> None:
        self._book = book
        self._world = world

    def commands(self) -> tuple[Command, ...]:
        """Return the table; lists answer quoted strings separated by commas."""
        plain = Kind.PLAIN
        return (
            Command("FAULt:ADD", self._add, (Text(),), plain),
            Command("FAULt:CLEar", self._book.clear, kind=plain),
            Command("FAULt:LIST?", self._list, kind=plain),
            Command("FAULt:LOG?", self._log, kind=plain),
            Command("FAULt:LOG:CLEar", self._book.log.clear, kind=plain),
            Command("FAULt:EVENts?", self._events, kind=plain),
            Command("HOST:CLOCk:OFFSet?", self._clock_offset, kind=plain),
            Command("HOST:DISK:FULL?", self._disk_full, kind=plain),
        )

    def reset(self) -> None:
        """End every fault."""
        self._book.clear()

    def _add(self, text: str) -> None:
        try:
            self._book.add_raw(read_text(text))
        except ValueError as error:
            raise ScpiError(-224, str(error).replace("\n", "; ")) from None

    def _list(self) -> str:
        return _strings([_described(fault) for fault in self._book.faults()])

    def _log(self) -> str:
        return _strings(
            [f"{e.time_s:.6f} {e.instrument}: {e.what}: {e.text}" for e in self._book.log]
        )

    def _events(self) -> str:
        """Return what befell the bench, trips, damage and a person's mistakes included."""
        latest = list(self._world.events)[-MOST_EVENTS:]
        return _strings([f"{e.time_s:.6f} {e.kind}: {e.text}" for e in latest])

    def _clock_offset(self) -> str:
        """Return by how many seconds the computer's clock should be wrong by now."""
        steps = [f.struck.shift for f in self._book.faults() if f.struck and f.state == "active"]
        return f"{sum(step.nominal for step in steps if step is not None):+.6f}"

    def _disk_full(self) -> str:
        return str(int(self._world.interlock("disk full")))


def _described(fault: Fault) -> str:
    return f"{fault.entry.instrument}: {fault.entry.what}: {fault.state}"


def _strings(texts: list[str]) -> str:
    return ",".join('"' + text.replace('"', '""') + '"' for text in texts) or '""'
