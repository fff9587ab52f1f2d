"""The proof that energy has gone: readings below their bounds, again and again, within a time.

What is not proven yet is told to switch off again meanwhile; an output that is off but holds charge
is emptied through the load where the bench's order asks for it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from drivers.errors import InstrumentError
from drivers.roles import Bench, Reading

PROOF_PERIOD_S = 1.0
PROOF_LIMIT_S = 60.0
PERSON_LIMIT_S = 120.0
"""A person gets two minutes to reach the switch; everything else is proven within one."""

STEADY_COUNT = 3
"""So many readings in a row must prove it: one may be damaged."""

AGAIN_S = 5.0
"""What is not proven is told again this often; what can't be reached, after growing waits."""

LONGEST_AGAIN_S = 40.0
MOST_SILENT = 5
SELDOM = 10
"""A channel whose instrument failed so often is read in every tenth round only, so that its
time-outs don't keep the others waiting."""

DISCHARGE_A = 0.1
"""Empties 10 mF from 30 V in 3 s, and asks little of a supply that is on after all."""

DISCHARGE_LIMIT_S = 10.0
FALLEN = 0.8
"""An output that has fallen to this part of its first reading is off, and holds charge only."""


@dataclass(frozen=True, slots=True)
class Told:
    """Something that was told to switch off: whether it confirmed, and what has to prove it."""

    what: str
    channels: tuple[str, ...]
    bound: float
    unit: str
    remedy: str = ""
    by_person: bool = False
    confirmed: bool = False
    detail: str = ""
    off: Callable[[], bool] | None = None

    def done(self, off: Callable[[], bool] | None = None) -> "Told":
        """Return it as confirmed; `off` tells it again."""
        return replace(self, confirmed=True, off=off)

    def failed(self, detail: str, off: Callable[[], bool] | None = None) -> "Told":
        """Return it as not confirmed, and why."""
        return replace(self, detail=detail, off=off)


@dataclass
class Proof:
    """What the readings have proven so far, by channel."""

    good: dict[str, int]
    last: dict[str, str] = field(default_factory=dict)
    first: dict[str, float] = field(default_factory=dict)
    value: dict[str, float] = field(default_factory=dict)
    late: set[str] = field(default_factory=set)
    silent: dict[str, int] = field(default_factory=dict)
    out_of_reach: set[str] = field(default_factory=set)
    trouble: str = ""

    def gone(self, channels: Sequence[str]) -> bool:
        """Return whether all of these have been below their bounds for good."""
        return all(self.good[channel] >= STEADY_COUNT for channel in channels)

    def words(self, channels: Sequence[str]) -> str:
        """Return the latest readings in words."""
        return ", ".join(self.last.get(c, f"{c} was not read") for c in channels)

    def confirmed(self, one: Told) -> bool:
        """Return whether something confirmed when it was told again."""
        return one.what in self.late

    def reason(self) -> str:
        """Return what hindered the proof."""
        return f"; {self.trouble}" if self.trouble else ""


def prove(bench: Bench, told: Sequence[Told], on_wait: Callable[[], None]) -> Proof:
    """Read all channels until each is within its bound for good, or the time is up."""
    channels = tuple(dict.fromkeys(c for one in told for c in one.channels))
    bounds = {c: (one.bound, one.unit) for one in told for c in one.channels}
    limit_s = PERSON_LIMIT_S if any(one.by_person for one in told) else PROOF_LIMIT_S
    proof = Proof(dict.fromkeys(channels, 0))
    discharge = next((one for one in told if one.what == "discharge"), None)
    try:
        start = at = again = bench.clock.now()
        again_s, number = AGAIN_S, 0
        while at - start < limit_s and not (proof.gone(channels) and _asked_in_vain(bench, told)):
            on_wait()
            number += 1
            for channel in channels:
                if proof.silent.get(channel, 0) >= MOST_SILENT and number % SELDOM:
                    continue
                reading = _look(bench, channel, bounds[channel], proof)
                if reading is not None:
                    _show(bench, told, reading, within=proof.good[channel] > 0)
            if channels and proof.out_of_reach.issuperset(channels):
                break  # waiting would prove nothing
            if at - again >= again_s:
                again = at
                if not _tell_again(told, proof):
                    again_s = min(2 * again_s, LONGEST_AGAIN_S)
            if discharge is not None and _only_charge(told, discharge, proof):
                _empty(bench, discharge, proof, on_wait)
                discharge = None
            at = bench.clock.sleep_until(at + PROOF_PERIOD_S)
    except InstrumentError as error:
        proof.trouble = str(error)
    _finish(bench, told)
    return proof


def _asked_in_vain(bench: Bench, told: Sequence[Told]) -> bool:
    """Return whether waiting for a person whom no reading can bear out would be of no use.

    That is so unless somebody was asked and has not said yet that it is done.
    """
    if bench.operator is None or not any(one.by_person and not one.channels for one in told):
        return True
    try:
        return bench.operator.state().state in {"done", "confused"}
    except InstrumentError:
        return True


def _look(bench: Bench, channel: str, bound: tuple[float, str], proof: Proof) -> Reading | None:
    """Read one channel and count whether it proves that the energy has gone."""
    try:
        reading = bench.read((channel,))[0]
    except InstrumentError as error:
        proof.last[channel] = str(error)
        proof.silent[channel] = proof.silent.get(channel, 0) + 1
    except KeyError:
        proof.last[channel] = f"{channel} can't be read: its instrument is not reached"
        proof.out_of_reach.add(channel)
    else:
        proof.silent.pop(channel, None)
        if reading.value == reading.value:  # not NaN
            gone = abs(reading.value) <= bound[0]
            proof.good[channel] = proof.good[channel] + 1 if gone else 0
            proof.last[channel] = f"{channel} {reading.value:.3g} {bound[1]}"
            proof.value[channel] = reading.value
            proof.first.setdefault(channel, reading.value)
            return reading
        proof.last[channel] = f"{channel} gives no number ({reading.raw!r})"
    proof.good[channel] = 0
    return None


def _tell_again(told: Sequence[Told], proof: Proof) -> bool:
    """Tell everything again that is not proven; return whether all of it could be reached."""
    reached = True
    for one in told:
        if one.off is None or one.by_person or (one.confirmed and proof.gone(one.channels)):
            continue
        try:
            if one.off():
                proof.late.add(one.what)
        except InstrumentError as error:
            proof.trouble = str(error)
            reached = False
    return reached


def _only_charge(told: Sequence[Told], discharge: Told, proof: Proof) -> bool:
    """Return whether the output is off but still holds charge, and the load is off."""
    load_off = all(one.confirmed and proof.gone(one.channels) for one in told if one.unit == "A")
    supply_off = any(one.what == "supply off" and one.confirmed for one in told)
    values = [(proof.value[c], proof.first[c]) for c in discharge.channels if c in proof.value]
    left = any(abs(value) > discharge.bound for value, _ in values)
    fallen = all(abs(value) <= FALLEN * abs(first) for value, first in values)
    return load_off and left and (supply_off or fallen)


def _empty(bench: Bench, told: Told, proof: Proof, on_wait: Callable[[], None]) -> None:
    """Draw a small current until the voltage has gone or the time is up, then nothing again."""
    load = bench.load
    if load is None:
        return
    start = at = bench.clock.now()
    try:
        load.apply("current", DISCHARGE_A, on=True)
        while at - start < DISCHARGE_LIMIT_S:
            on_wait()
            for channel in told.channels:
                _look(bench, channel, (told.bound, told.unit), proof)
            if all(abs(proof.value.get(c, 1e9)) <= told.bound / 2 for c in told.channels):
                break
            at = bench.clock.sleep_until(at + PROOF_PERIOD_S / 4)
    finally:
        if not load.off():
            proof.trouble = "the load does not confirm that it is off after discharging"
        proof.good = dict.fromkeys(proof.good, 0)  # everything is proven anew


def _show(bench: Bench, told: Sequence[Told], reading: Reading, *, within: bool) -> None:
    """Let the person see the reading that proves what was asked."""
    for one in told:
        if one.by_person and one.channels[:1] == (reading.channel,) and bench.operator is not None:
            bench.operator.show(reading.channel, reading.value, within=within)


def _finish(bench: Bench, told: Sequence[Told]) -> None:
    if any(one.by_person for one in told) and bench.operator is not None:
        try:
            bench.operator.finish()
        except InstrumentError:
            return  # what the readings prove does not depend on it
