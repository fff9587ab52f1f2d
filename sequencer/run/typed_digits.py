"""Whether a typed value has more digits than its meter shows: then it was not read from there."""

import re

from sequencer.documents.accuracy_resolved import digit
from sequencer.documents.channels import BenchChannel
from sequencer.documents.parsing import one_spelling

NUMBER = re.compile(r"[+-]?(\d*)[.,]?(\d*)")


def counts_of(channel: BenchChannel) -> int | None:
    """Return up to how many counts a channel's display goes; None where that isn't stated."""
    statement = channel.accuracy
    if statement.display is not None:
        return statement.display
    step = digit(statement, channel.range)
    return None if channel.range is None or not step else round(channel.range / step)


def too_fine(text: str, channel: BenchChannel) -> bool:
    """Tell whether a text has digits that no range of the meter shows.

    Counted are digits from the first to the last that is not zero: a meter that ranges by itself
    shows finer steps of small values, but never more counts.
    """
    counts, number = counts_of(channel), NUMBER.match(one_spelling(text))
    if counts is None or number is None:
        return False
    digits = "".join(number.groups()).strip("0")
    return int(digits or "0") > counts
