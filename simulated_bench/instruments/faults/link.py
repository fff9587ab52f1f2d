"""What becomes of an answer between an instrument and its client."""

from collections.abc import Callable, Mapping
from typing import NamedTuple

from simulated_bench.instruments.faults.book import Afflicted, FaultBook
from simulated_bench.instruments.faults.entries import ANSWER, DEFAULT_DELAY_S
from simulated_bench.instruments.faults.fault import Fault

Answer = Callable[[bytes], bytes]

SHOWN: int = 40
"""Characters of a message in the log."""


class Delivery(NamedTuple):
    """What reaches the client: something now, something later, or the end of the connection."""

    now: bytes = b""
    later: bytes = b""
    delay_s: float = 0.0
    closes: bool = False


class Link:
    """One instrument's link as its clients see it; a server asks it only while it is `disturbed`.

    Parameters
    ----------
    name
        The instrument's.
    answers
        What answers a message, by instrument's name.
    afflicted
        The instrument's faults, out of the book.
    """

    def __init__(
        self, name: str, answers: Mapping[str, Answer], afflicted: Afflicted, book: FaultBook
    ) -> None:
        self._name = name
        self._answers = answers
        self._afflicted = afflicted
        self._book = book

    @property
    def disturbed(self) -> bool:
        """Whether messages have to pass through `carry`."""
        return self._afflicted.armed or self._book.counts

    @property
    def refuses(self) -> bool:
        """Whether connections are refused now."""
        return self._afflicted.active(frozenset({"refused reconnect"})) is not None

    @property
    def answered_by(self) -> str:
        """The instrument that is at this one's address now."""
        wrong = self._afflicted.active(frozenset({"wrong instrument"}))
        becomes = wrong.of_instrument.becomes if wrong is not None else None
        return becomes or self._name

    def when_changed(self, watch: Callable[[], None]) -> None:
        """Call `watch` whenever a fault is put in, begins or ends."""
        self._afflicted.watchers.append(watch)

    def carry(self, message: bytes) -> Delivery:
        """Take a message to the instrument and return what comes back."""
        asks = b"?" in message
        before = self.answered_by
        if asks:
            self._book.query(self._afflicted)
        if self.refuses or self.answered_by != before:
            return Delivery(closes=True)
        answer = self._answers[before](message)
        fault = self._afflicted.active(ANSWER) if asks else None
        if fault is None or not answer:
            return Delivery(answer)
        delivery = _damaged(fault, answer)
        text = message.decode("latin-1")
        self._book.touch(fault, text if len(text) <= SHOWN else text[:SHOWN] + "…")
        return delivery


def _damaged(fault: Fault, answer: bytes) -> Delivery:
    delay = fault.of_instrument.delay
    match fault.entry.what:
        case "late answer":
            return Delivery(later=answer, delay_s=delay.nominal if delay else DEFAULT_DELAY_S)
        case "half an answer":
            half = len(answer.rstrip(b"\r\n")) // 2
            if delay is None:
                return Delivery(answer[:half])
            return Delivery(answer[:half], answer[half:], delay.nominal)
        case "garbage":
            noise = fault.generator.integers(0, 256, len(answer) - 1).astype("uint8").tobytes()
            return Delivery(noise.replace(b"\n", b"\x80") + b"\n")
        case "closed connection":
            return Delivery(closes=True)
        case _:  # no answer
            return Delivery()
