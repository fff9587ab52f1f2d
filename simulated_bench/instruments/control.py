"""The control instrument: puts faults into a running bench and tells what happened when.

``FAULt:ADD "instrument = 'load', what = 'trip', at = '10 min'"`` takes the same words as a table
``[[faults]]`` of a scenario. Nothing here costs bench time.
"""

from simulated_bench.instruments.faults.book import FaultBook
from simulated_bench.instruments.faults.entries import read_text
from simulated_bench.instruments.faults.fault import Fault
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Text


class Control:
    """The bench's faults as an instrument."""

    def __init__(self, book: FaultBook) -> None:
        self._book = book

    def commands(self) -> tuple[Command, ...]:
        """Return the table; lists answer quoted strings separated by commas."""
        plain = Kind.PLAIN
        return (
            Command("FAULt:ADD", self._add, (Text(),), plain),
            Command("FAULt:CLEar", self._book.clear, kind=plain),
            Command("FAULt:LIST?", self._list, kind=plain),
            Command("FAULt:LOG?", self._log, kind=plain),
            Command("FAULt:LOG:CLEar", self._book.log.clear, kind=plain),
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


def _described(fault: Fault) -> str:
    return f"{fault.entry.instrument}: {fault.entry.what}: {fault.state}"


def _strings(texts: list[str]) -> str:
    return ",".join('"' + text.replace('"', '""') + '"' for text in texts) or '""'
