"""What is looked at between two readings beside the bench: signals, the guardian, the computer."""

import time

from drivers.roles import Bench
from sequencer.errors import ComputerFailed
from sequencer.guardian.keeper import Guardian
from sequencer.record.write import RecordWriter
from sequencer.run.stop import Stop

SELDOM_S = 0.05
"""In virtual time ticks come thousands of times a second; the computer's clocks don't."""

STEP_S = 1.0
"""Wall time that runs off by more within one look was set, not disciplined."""

ASLEEP_S = 1.0


class Watch:
    """Signals, guardian and the computer's clocks, at each tick.

    `gap_s` is how long the computer may have been suspended: longer, and the run stops.
    """

    def __init__(
        self,
        bench: Bench,
        writer: RecordWriter,
        stop: Stop,
        guardian: Guardian | None,
        gap_s: float,
    ) -> None:
        self._bench = bench
        self._writer = writer
        self._stop = stop
        self._guardian = guardian
        self._gap_s = gap_s
        self._clocks = _clocks()

    def check(self) -> None:
        """Show progress and look at everything.

        Raises
        ------
        Interrupted, GuardianLost, ComputerFailed
        """
        self._stop.check()
        if self._guardian is not None:
            self._guardian.check()
        monotonic, boot, wall = self._clocks
        if time.monotonic() - monotonic < SELDOM_S:
            return
        self._clocks = now = _clocks()
        asleep = (now[1] - boot) - (now[0] - monotonic)
        stepped = (now[2] - wall) - (now[1] - boot)
        if abs(stepped) > STEP_S:
            way = "forward" if stepped > 0 else "back"
            self._note(
                "clock step",
                f"The computer's clock was set {way} by {abs(stepped):.1f} s; bench time does not "
                "follow it, only the labels of events do.",
            )
        if asleep > ASLEEP_S:
            self._note(
                "suspended",
                f"The computer was suspended for {asleep:.0f} s: nobody watched meanwhile, and no "
                "readings were taken.",
            )
            if asleep > self._gap_s:
                raise ComputerFailed(
                    f"The computer was suspended for {asleep:.0f} s, longer than the gap of "
                    f"{self._gap_s:.0f} s that the profile allows. Keep it from sleeping, then "
                    "resume."
                )

    def progress(self) -> None:
        """Only show progress, as while making safe; never raises."""
        if self._guardian is not None:
            self._guardian.progress()

    def _note(self, kind: str, text: str) -> None:
        self._writer.event(self._bench.clock.stamp(), kind, "warning", text)


def _clocks() -> tuple[float, float, float]:
    """Return seconds: without suspension, with it, and wall time."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)  # Linux has it
    monotonic = time.monotonic()
    return monotonic, monotonic if boot is None else time.clock_gettime(boot), time.time()
