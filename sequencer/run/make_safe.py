"""Bring bench and unit to the state without energy, in the declared order, and prove it by reading.

Everything is told to switch off first, in the declared order and without waiting for proof; then
all is proven together. This lowers the risk; it proves only what it reads. Mains parts of the unit
stay live until the line plug is out, and capacitors inside may hold charge.
"""

from collections.abc import Callable, Sequence
from functools import partial

from drivers.roles import Bench, LineSource, Supply
from sequencer.run import operator_words as words
from sequencer.run.safe_beside import resistors_off, resistors_off_by_hand
from sequencer.run.safe_proof import Proof, Told, prove
from sequencer.run.safe_report import CURRENT_BOUND_A, VOLTAGE_BOUND_V, SafeReport, SafeStep
from sequencer.run.safe_tell import instruct, tell

STILL_ON = "Switch the load off at its own panel, or take its leads off."
SUPPLY_STAYS_ON = "Switch the supply off at its own panel."


def make_safe(
    bench: Bench,
    order: Sequence[str],
    *,
    current_channels: Sequence[str],
    voltage_channels: Sequence[str],
    relays: Sequence[tuple[str, str]] = (),
    on_wait: Callable[[], None] = lambda: None,
    aloud: Callable[[str], None] = lambda _: None,
) -> SafeReport:
    """Switch off what `order` names and read back that the energy has gone.

    Never raises for an instrument that fails: that becomes an unverified step, and everything else
    is tried all the same.

    Parameters
    ----------
    bench
        Opened, as far as it can be.
    order
        Out of "load", "supply", "line" (the line source, else a person at the line switch) and
        "discharge" (the load empties the output capacitor once the output is off).
    current_channels, voltage_channels
        What has to read below the bounds.
    relays
        Switch and relay of each resistor beside the load, for "resistors" in the order; "resistors
        by hand" are asked for where current still flows.
    on_wait
        Called at least once a second of bench time, so that whoever watches sees progress.
    aloud
        Told what only a person can do, as soon as it is asked.
    """
    currents, voltages = tuple(current_channels), tuple(voltage_channels)
    told: list[Told] = []
    for role in order:
        on_wait()
        if role == "resistors":
            told.append(resistors_off(bench, relays, currents))
        elif role == "resistors by hand":
            told.append(resistors_off_by_hand(bench, currents, aloud))
        else:
            told.append(_switch_off(bench, role, currents, voltages, aloud))
    proof = prove(bench, told, on_wait)
    return SafeReport(tuple(_step(one, proof) for one in told))


def _switch_off(
    bench: Bench,
    role: str,
    currents: tuple[str, ...],
    voltages: tuple[str, ...],
    aloud: Callable[[str], None],
) -> Told:
    if role == "load" and bench.load is not None:
        told = Told("load off", currents, CURRENT_BOUND_A, "A", remedy=STILL_ON)
        return tell(told, bench.load.off)
    by_wire: dict[str, tuple[Supply | LineSource | None, str]] = {
        "supply": (bench.supply, SUPPLY_STAYS_ON),
        "line": (bench.line_source, words.PULL_THE_PLUG),
    }
    source, stays_on = by_wire.get(role, (None, ""))
    if source is not None:
        told = Told(f"{role} off", voltages, VOLTAGE_BOUND_V, "V", remedy=stays_on)
        return tell(told, source.off)
    by_hand = {
        "supply": ("output off by hand", words.SWITCH_OUTPUT_OFF, words.PRESS_OUTPUT_OFF),
        "line": ("line off by hand", words.SWITCH_LINE_OFF, words.PULL_THE_PLUG),
    }
    if role in by_hand:
        what, instruction, remedy = by_hand[role]
        told = Told(what, voltages, VOLTAGE_BOUND_V, "V", remedy=remedy, by_person=True)
        aloud(remedy)
        if bench.operator is None:
            return told.failed("it is operated by hand, and nobody could be asked")
        return tell(told, partial(instruct, bench, instruction))
    if role == "discharge" and bench.load is not None:
        told = Told("discharge", voltages, VOLTAGE_BOUND_V, "V", remedy=words.WAIT_FOR_DISCHARGE)
        return told.done()
    told = Told(f"{role} off", (), 0.0, "", remedy=STILL_ON if role == "load" else "")
    return told.failed("nothing that was reached can switch it off")


def _step(one: Told, proof: Proof) -> SafeStep:
    if not one.channels:
        detail = one.detail or "no channel is there to prove it"
        return SafeStep(one.what, False, detail, one.remedy)
    text = proof.words(one.channels)
    if not one.confirmed and not proof.confirmed(one):
        return SafeStep(one.what, False, f"{one.detail} ({text})", one.remedy)
    if not proof.gone(one.channels):
        return SafeStep(one.what, False, f"still {text}{proof.reason()}", one.remedy)
    return SafeStep(one.what, True, text)
