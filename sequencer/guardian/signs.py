"""What goes through the pipes between sequencer and guardian, and how long silence may last."""

from drivers.connect import slowest_query_s
from drivers.roles import BenchSpec

ALIVE = b"."
"""A thread of the sequencer sends it four times a second: the process is not stopped or dead."""

PROGRESS = b"t"
"""The run loop sends it at every tick: it is not caught in a loop or a wait without end."""

DONE = b"q"
"""The bench was made safe, or nothing was ever asked of it."""

TAKE_OVER = b"o"
"""The sequencer could not show the bench to be safe; it has closed its links and goes by itself."""

BEAT_S = 0.25
SILENCE_S = 2.5
"""Ten signs of life missed. A healthy process gets a processor within that time even on a busy
machine; making safe then fits into the five seconds that are promised."""

WAIT_S = 5.0
"""The run loop's longest wait without a tick."""

OPENING_S = 5.0
"""The longest time that opening a link may take."""

SAFETY_FACTOR = 2.0


def longest_progress_s(spec: BenchSpec) -> float:
    """Return how long the run loop may show no progress, from the slowest query that is allowed.

    A tick may have to wait, then ask an instrument all its channels in one message, be told
    nothing, open a new link, identify it and ask again. A dialect may allow one question more than
    its instrument's usual time-out.
    """
    slowest = max((i.timeout_s for i in spec.instruments), default=0.0)
    names = [channel.instrument for channel in spec.channels]
    together = max((names.count(name) for name in names), default=1)
    longest = slowest_query_s(spec)
    return SAFETY_FACTOR * (WAIT_S + OPENING_S + longest + 2 * max(together * slowest, longest))
