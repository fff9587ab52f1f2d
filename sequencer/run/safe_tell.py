"""Tell something to switch off: again where the link fails, and never raising for it."""

from collections.abc import Callable
from select import poll

from drivers.errors import InstrumentError
from drivers.roles import Bench
from sequencer.run.safe_proof import Told

TRIES = 3
PAUSES_S = (0.1, 0.4)
"""Between the tries: an instrument that hung up is often back at once, or after half a second."""


def instruct(bench: Bench, instruction: str) -> bool:
    """Give a person an instruction, if somebody is there."""
    if bench.operator is not None:
        bench.operator.instruct(instruction)
    return True


def tell(told: Told, off: Callable[[], bool]) -> Told:
    """Tell something to switch off, a few times if need be; return how that went."""
    detail = "it does not confirm it"
    for number in range(TRIES):
        if number:
            poll().poll(PAUSES_S[number - 1] * 1000)  # links recover in real time, not bench time
        try:
            if off():
                return told.done(off)
        except InstrumentError as error:
            detail = str(error)
    return told.failed(detail, off)
