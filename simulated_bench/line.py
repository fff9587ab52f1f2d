"""The line: nominal voltage, slow wander, sags and surges as events.

``V_line(t) = V_nom·(1 + wander(t))·Π(1 + change_k)`` over the events that are on at `t`; RMS.
Wander is independent normal values a quarter of an hour apart, interpolated (common practice, no
source).
"""

from dataclasses import dataclass

from simulated_bench.noise import GridSeries


@dataclass(frozen=True, slots=True)
class LineEvent:
    """A sag (negative change) or surge of relative size, from a bench time for a duration."""

    at_s: float
    duration_s: float
    change: float


@dataclass(frozen=True, slots=True)
class Line:
    """The supply network at the socket."""

    nominal_v: float
    frequency_hz: float
    wander: GridSeries
    events: tuple[LineEvent, ...] = ()
    source_v: float | None = None
    """RMS voltage of a line source in between, which holds through what the network does."""

    def ratio(self, time_s: float) -> float:
        """Return line voltage over nominal."""
        if self.source_v is not None:
            return self.source_v / self.nominal_v
        ratio = 1.0 + self.wander.at(time_s)
        for event in self.events:
            if event.at_s <= time_s < event.at_s + event.duration_s:
                ratio *= 1.0 + event.change
        return ratio

    def voltage(self, time_s: float) -> float:
        """Return the RMS line voltage."""
        return self.nominal_v * self.ratio(time_s)
