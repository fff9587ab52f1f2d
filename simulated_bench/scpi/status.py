"""The status model of IEEE 488.2 (clause 11) and SCPI-1999 (volume 1, chapter 9)."""

from collections import deque
from typing import Final

from simulated_bench.scpi.errors import ScpiError

OPERATION_COMPLETE: Final = 1
QUERY_ERROR: Final = 4
DEVICE_ERROR: Final = 8
EXECUTION_ERROR: Final = 16
COMMAND_ERROR: Final = 32
POWER_ON: Final = 128

ERROR_QUEUE: Final = 4
QUESTIONABLE: Final = 8
MESSAGE_AVAILABLE: Final = 16
EVENT_SUMMARY: Final = 32
MASTER_SUMMARY: Final = 64
OPERATION: Final = 128

QUEUE_LENGTH: Final = 20
"""Common among instruments (common practice, no source); the standard asks for at least two."""


def event_bit(number: int) -> int:
    """Return the bit of the standard event status register that an error sets."""
    if -200 < number <= -100:
        return COMMAND_ERROR
    if -300 < number <= -200:
        return EXECUTION_ERROR
    if -500 < number <= -400:
        return QUERY_ERROR
    return DEVICE_ERROR


class Register:
    """A SCPI status register: condition, event (latches what rises), enable."""

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.enable = 0

    def set(self, bits: int) -> None:
        """Set the condition; bits that rise latch in the event part."""
        self.event |= bits & ~self.condition
        self.condition = bits

    def read_event(self) -> int:
        """Return the event part and clear it."""
        bits, self.event = self.event, 0
        return bits

    @property
    def summary(self) -> bool:
        """Whether an enabled event stands."""
        return bool(self.event & self.enable)


class Status:
    """Registers and error queue of one instrument; a queue of length 0 keeps nothing."""

    def __init__(self, queue_length: int = QUEUE_LENGTH) -> None:
        self.event = POWER_ON
        self.event_enable = 0
        self.service_enable = 0
        self.questionable = Register()
        self.operation = Register()
        self._queue: deque[str] = deque()
        self.queue_length = queue_length

    def put(self, error: ScpiError) -> None:
        """Queue an error first in first out; when full, −350 takes the place of the last."""
        self.event |= event_bit(error.number)
        if self.queue_length == 0:
            return
        if len(self._queue) < self.queue_length:
            self._queue.append(error.entry())
        else:
            self._queue[-1] = ScpiError(-350).entry()
            self.event |= DEVICE_ERROR

    def next_error(self) -> str:
        """Return the oldest error and take it out of the queue."""
        return self._queue.popleft() if self._queue else ScpiError(0).entry()

    def errors(self) -> int:
        """Return how many errors are queued."""
        return len(self._queue)

    def read_event(self) -> int:
        """Return the standard event status register and clear it."""
        bits, self.event = self.event, 0
        return bits

    def clear(self) -> None:
        """Carry out *CLS: events and the queue are emptied, the enables stay."""
        self.event = 0
        self.questionable.event = self.operation.event = 0
        self._queue.clear()

    def power_on(self) -> None:
        """Be as after switching on: nothing enabled, nothing queued, PON set."""
        self.clear()
        self.preset()
        self.event = POWER_ON
        self.event_enable = self.service_enable = 0
        self.questionable.condition = self.operation.condition = 0

    def preset(self) -> None:
        """Carry out STATus:PRESet: the enables of the SCPI registers are cleared."""
        self.questionable.enable = self.operation.enable = 0

    def byte(self, *, message_available: bool) -> int:
        """Return the status byte as *STB? reads it, with MSS in bit 6."""
        bits = ERROR_QUEUE if self._queue else 0
        bits |= QUESTIONABLE if self.questionable.summary else 0
        bits |= MESSAGE_AVAILABLE if message_available else 0
        bits |= EVENT_SUMMARY if self.event & self.event_enable else 0
        bits |= OPERATION if self.operation.summary else 0
        return bits | (MASTER_SUMMARY if bits & self.service_enable else 0)
