"""What happens after a link has failed: look at the rest of the bench, reopen, ask again, in time.

Without a watcher a question is asked once more and that is all. With one, as in a run, it is asked
again after growing waits until the patience is used up; the watcher looks at the guards before each
attempt and at least every second of each wait, so no retry ever delays a guard by more than the one
query that is under way.

An attempt opens, identifies, checks the state and asks; all of that together waits no longer than
what is left of the patience, or one time-out of the instrument where that is more. So an instrument
whose guards are blind is given up after its first time-out, BUDGET_S and one more time-out at most.
"""

import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

from drivers.errors import LINK_FAILURES, InstrumentError
from drivers.roles import Clock

if TYPE_CHECKING:
    from drivers.instrument import Instrument

T = TypeVar("T")

BUDGET_S = 10.0
"""Bench time for which a lost instrument is tried again. Until then its guards see nothing, and a
heatsink rises by a kelvin or two."""

FIRST_WAIT_S, LONGEST_WAIT_S = 0.25, 4.0
"""Waits double from a quarter of a second: a restarting instrument is not hammered."""

LOOK_S = 1.0
"""While waiting, the guards look this often."""

Reachable = Callable[[Sequence[str]], tuple[str, ...]]
"""Takes channels and returns those whose instruments are not lost at the moment."""

Watcher = Callable[[Reachable], None]


class Patience:
    """How the instruments of one bench are tried again; they share it.

    Attributes
    ----------
    watcher
        Looks at the guards; None while nobody watches, as when making safe.
    clock
        The bench's clock, which waits go through.
    reachable
        Leaves out channels of the instruments in `lost`.
    """

    def __init__(self) -> None:
        self.watcher: Watcher | None = None
        self.clock: Clock | None = None
        self.reachable: Reachable = tuple
        self.lost: set[str] = set()
        self._looking = False

    def again(
        self,
        instrument: "Instrument",
        operation: Callable[[], T],
        failure: InstrumentError,
        on_event: Callable[[str, str], None],
    ) -> T:
        """Do something that failed for the link's sake a second time, and more often if watched.

        Raises
        ------
        InstrumentError
            The last failure, when the patience is used up; at once within an attempt of the
            instrument's own, which has its time already.
        """
        if instrument.name in self.lost:
            raise failure
        on_event("asked again", str(failure))
        if self.watcher is None or self._looking:
            return operation()
        self.lost.add(instrument.name)
        try:
            return self._until_it_works(instrument, operation, on_event)
        except InstrumentError as error:
            on_event("lost", f"given up: {error}")
            raise
        finally:
            self.lost.discard(instrument.name)

    def _until_it_works(
        self,
        instrument: "Instrument",
        operation: Callable[[], T],
        on_event: Callable[[str, str], None],
    ) -> T:
        # A time base that is lost is no clock: without it nothing can be waited for.
        session = instrument.session
        clock = None if session.spec.role == "time_base" else self.clock
        start, wait_s = (clock.now() if clock else 0.0), FIRST_WAIT_S
        while True:
            left_s = BUDGET_S - (clock.now() - start if clock else 0.0)
            attempt_s = max(left_s, session.spec.timeout_s)
            session.until = time.monotonic() + attempt_s
            self._look()
            try:
                session.open()
                self._look()
                return operation()
            except LINK_FAILURES as error:
                if clock is None or clock.now() - start + wait_s > BUDGET_S:
                    raise
                on_event("asked again", str(error))
            finally:
                session.until = None
            self._wait(clock, wait_s)
            wait_s = min(2 * wait_s, LONGEST_WAIT_S)

    def _wait(self, clock: Clock, seconds: float) -> None:
        at = clock.now()
        end = at + seconds
        while end - at > LOOK_S:
            at = clock.sleep_until(at + LOOK_S)
            self._look()
        clock.sleep_until(end)

    def _look(self) -> None:
        if self.watcher is None:
            return
        self._looking = True
        try:
            self.watcher(self.reachable)
        finally:
            self._looking = False
