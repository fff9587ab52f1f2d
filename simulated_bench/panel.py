"""The unit's own meters: gain, offset, and what a needle or the last digit lets one read.

``shown = resolution·round((true·(1 + g) + o)/resolution)``; for a needle the resolution is what an
eye makes of the scale, a fifth of a division (common practice, no source). Voltage is that of the
terminals, current that through the unit's own shunt. A meter stops at its full scale, and below
zero at zero.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PanelMeter:
    """One meter; V or A."""

    gain: float
    offset: float
    resolution: float
    full_scale: float

    def shows(self, true: float) -> float:
        """Return what can be read off at a true value."""
        shown = true * (1.0 + self.gain) + self.offset
        steps = round(min(max(shown, 0.0), self.full_scale) / self.resolution)
        return steps * self.resolution
