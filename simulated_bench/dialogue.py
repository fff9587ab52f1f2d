"""What one client and one instrument say to each other, through whatever disturbs the link."""

from collections import deque
from collections.abc import Callable
from functools import partial
from time import monotonic
from typing import Final

from simulated_bench.connection import MOST_UNSENT
from simulated_bench.instruments.table_top import Placed
from simulated_bench.scpi.errors import ScpiError

MOST_HELD: Final = 1000
"""Answers under way at a time; beyond, −430 and the connection ends."""

Deliver = Callable[[bytes], None]
Later = Callable[[float, Callable[[], None]], None]


class _Held:
    """An answer that is not sent yet; `own` when the instrument itself takes so long."""

    def __init__(self, answer: bytes, deliver: Deliver, *, own: bool) -> None:
        self.answer, self.deliver, self.own = answer, deliver, own


class Dialogue:
    """One client's exchange of messages with one instrument.

    Parameters
    ----------
    later
        Carries an action out when the computer's monotonic clock reaches a time.
    changed
        Called when `straight` may have changed.
    """

    def __init__(self, placed: Placed, later: Later, changed: Callable[[], None]) -> None:
        self._placed = placed
        self._later = later
        self._changed = changed
        self._held: deque[_Held] = deque()
        self._held_bytes = 0
        self._held_until = 0.0
        self._first_answer_s = placed.first_answer_s

    @property
    def straight(self) -> bool:
        """Whether messages may go straight to the instrument: nothing is in the way."""
        return not (self._placed.link.disturbed or self._held or self._first_answer_s)

    def clear(self) -> None:
        """Throw away every answer that is under way; the client has gone or does not want them."""
        self._held.clear()
        self._held_bytes = 0
        self._changed()

    def carry(self, message: bytes, deliver: Deliver) -> bytes:
        """Take a message to the instrument; return what can be said now, `deliver` the rest later.

        Raises
        ------
        ConnectionAbortedError
            When the link ends here.
        """
        if self._held and self._held[0].own and message.strip():
            self._forget(self._held[0])  # IEEE 488.2, 6.3.2.3: its answer is thrown away
            self._placed.device.status.put(
                ScpiError(-410, "a message came before the answer was ready")
            )
        delivery = self._placed.link.carry(message)
        if delivery.closes:
            raise ConnectionAbortedError
        now = delivery.now
        if now and self._first_answer_s:
            self._hold(_Held(now, deliver, own=True), self._first_answer_s)
            self._first_answer_s, now = 0.0, b""
        elif now and self._held:  # answers keep their order
            self._hold(_Held(now, deliver, own=False), 0.0)
            now = b""
        if delivery.later:
            self._hold(_Held(delivery.later, deliver, own=False), delivery.delay_s)
        return now

    def _hold(self, held: _Held, delay_s: float) -> None:
        self._held.append(held)
        self._held_bytes += len(held.answer)
        if len(self._held) > MOST_HELD or self._held_bytes > MOST_UNSENT:
            self._placed.device.status.put(ScpiError(-430, "nobody waits for the answers"))
            raise ConnectionAbortedError
        self._held_until = max(self._held_until, monotonic() + delay_s)
        self._later(self._held_until, partial(self._release, held))
        self._changed()

    def _release(self, held: _Held) -> None:
        if held in self._held:
            self._forget(held)
            held.deliver(held.answer)

    def _forget(self, held: _Held) -> None:
        self._held.remove(held)
        self._held_bytes -= len(held.answer)
        self._changed()
