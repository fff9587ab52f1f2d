"""Take resistors beside the load off: they draw current whatever the load does.

That no current flows does not prove that they are off once the supply is: with the next output on,
they draw again.
"""

from collections.abc import Callable, Sequence
from functools import partial

from drivers.errors import InstrumentError
from drivers.roles import Bench
from sequencer.run import operator_words as words
from sequencer.run.safe_proof import Told
from sequencer.run.safe_report import CURRENT_BOUND_A
from sequencer.run.safe_tell import instruct, tell


def resistors_off(
    bench: Bench, relays: Sequence[tuple[str, str]], currents: tuple[str, ...]
) -> Told:
    """Open the relay of every resistor, each though another one fails."""
    told = Told("resistors off", currents, CURRENT_BOUND_A, "A", remedy=words.TAKE_RESISTORS_OFF)
    lost = sorted({switch for switch, _ in relays if switch not in bench.switches})
    if lost:
        return told.failed(f"not reached: {', '.join(lost)}", partial(_open, bench, relays))
    return tell(told, partial(_open, bench, relays))


def _open(bench: Bench, relays: Sequence[tuple[str, str]]) -> bool:
    confirmed, failure = True, None
    for switch, relay in relays:
        if switch not in bench.switches:
            confirmed = False
            continue
        try:
            confirmed = bench.switches[switch].switch(relay, closed=False) and confirmed
        except InstrumentError as error:
            failure = error
    if failure is not None:
        raise failure
    return confirmed


def resistors_off_by_hand(
    bench: Bench, currents: tuple[str, ...], aloud: Callable[[str], None]
) -> Told:
    """Ask a person where current still flows with the load off."""
    told = Told(
        "resistors off by hand", currents, CURRENT_BOUND_A, "A", remedy=words.TAKE_RESISTORS_OFF
    )
    if _no_current(bench, currents):
        return told.done()
    aloud(words.TAKE_RESISTORS_OFF)
    asked = Told(told.what, currents, told.bound, told.unit, told.remedy, by_person=True)
    if bench.operator is None:
        return asked.failed("they are connected by hand, and nobody could be asked")
    return tell(asked, partial(instruct, bench, words.DISCONNECT_RESISTORS))


def _no_current(bench: Bench, currents: tuple[str, ...]) -> bool:
    try:
        readings = bench.read(currents)
    except (InstrumentError, KeyError):
        return False
    return bool(readings) and all(abs(r.value) <= CURRENT_BOUND_A for r in readings)
