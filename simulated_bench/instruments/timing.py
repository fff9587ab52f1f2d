"""Bench time as measurements spend it: different instruments overlap.

A measurement asked for at bench time `now` is answered at once on the socket and keeps its
instrument busy until `now` plus its reading time. Time moves on to the end of the slowest one when
the clock is asked anything, when a setting arrives anywhere, or when an instrument is asked while
it is still busy itself. So four meters asked together cost the slowest one.
"""

from collections.abc import Callable
from heapq import heappop, heappush

from simulated_bench.faces import WorldFace


class BenchTime:
    """The time that all instruments of one bench share."""

    def __init__(self, world: WorldFace) -> None:
        self.world = world
        self.debt = 0.0
        self.watchers: list[Callable[[], None]] = []
        self.on_step: list[Callable[[], None]] = []
        """Who waits for a change of the load."""
        self._appointments: list[tuple[float, int, Callable[[], None]]] = []
        self._made = 0

    def settle(self) -> None:
        """Let every measurement under way end."""
        if self.debt > self.world.now:
            self.advance_to(self.debt)

    def advance_to(self, at: float) -> None:
        """Let bench time pass until `at` and let the watchers see what has become of the bench.

        They look around each appointment, too: what begins and ends within one advance is seen.
        """
        while self._appointments and self._appointments[0][0] <= at:
            due, _, action = heappop(self._appointments)
            self.world.advance_to(due)
            self._look()
            action()
            self._look()
        self.world.advance_to(at)
        self._look()

    def _look(self) -> None:
        for watch in self.watchers:
            watch()

    def stepped(self) -> None:
        """Tell that the load has just been changed."""
        for trigger in self.on_step:
            trigger()

    def at(self, due: float, action: Callable[[], None]) -> None:
        """Carry an action out at a bench time, or now when that is past."""
        if due <= self.world.now:
            action()
            return
        self._made += 1
        heappush(self._appointments, (due, self._made, action))


class Occupancy:
    """One instrument's part in bench time; implements `simulated_bench.scpi.device.Timing`."""

    def __init__(self, time: BenchTime) -> None:
        self._time = time
        self._busy_until = 0.0

    def before_setting(self) -> None:
        """Let every measurement under way end."""
        self._time.settle()

    def before_question(self) -> None:
        """Let the measurement under way in this instrument end."""
        if self._busy_until > self._time.world.now:
            self._time.settle()

    def spend(self, duration_s: float) -> None:
        """Be busy from now on."""
        self._busy_until = self._time.world.now + duration_s
        self._time.debt = max(self._time.debt, self._busy_until)
