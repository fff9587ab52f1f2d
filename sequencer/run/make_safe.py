"""Bring bench and unit to the state without energy, in the declared order, and prove it by reading.

Everything is told to switch off first, in the declared order and without waiting for proof; then
all is proven together. This lowers the risk; it proves only what it reads. Mains parts of the unit
stay live until the line plug is out, and capacitors inside may hold charge.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from drivers.errors import InstrumentError
from drivers.roles import Bench, Reading
from sequencer.run import operator_words as words

CURRENT_BOUND_A = 0.05
"""Under 50 mA nothing heats up any more; the meters' offsets stay below it."""

VOLTAGE_BOUND_V = 2.0
"""Under 2 V little is left in the output capacitor. Not a statement about touching anything."""

PROOF_PERIOD_S = 1.0
PROOF_LIMIT_S = 60.0
PERSON_LIMIT_S = 120.0
"""A person gets two minutes to reach the switch; everything else is proven within one."""

STEADY_COUNT = 3
"""So many readings in a row must prove it: one may be damaged."""

TRIES = 3


@dataclass(frozen=True, slots=True)
class SafeStep:
    """One step of making safe and what became of it."""

    what: str
    verified: bool
    detail: str


@dataclass(frozen=True, slots=True)
class SafeReport:
    """The whole of making safe; `verified` only when every step was proven by readings."""

    steps: tuple[SafeStep, ...]

    @property
    def verified(self) -> bool:
        """Whether every step was proven."""
        return bool(self.steps) and all(step.verified for step in self.steps)

    def __str__(self) -> str:
        """Return the line for the record and the terminal."""
        head = "Made safe, verified: " if self.verified else "Making safe is NOT VERIFIED: "
        text = "; ".join(f"{step.what}: {step.detail}" for step in self.steps)
        tail = (
            ""
            if self.verified
            else " Switch the unit off at the line yourself, and keep away from its terminals "
            "until a meter shows that no voltage is left."
        )
        return f"{head}{text or 'nothing was declared to be switched off'}.{tail}"


@dataclass(frozen=True, slots=True)
class _Told:
    """Something that was told to switch off: whether it confirmed, and what has to prove it."""

    what: str
    confirmed: bool
    detail: str
    channels: tuple[str, ...]
    bound: float
    unit: str
    by_person: bool = False


def make_safe(
    bench: Bench,
    order: Sequence[str],
    *,
    current_channels: Sequence[str],
    voltage_channels: Sequence[str],
) -> SafeReport:
    """Switch off what `order` names ("load", "supply") and read back that the energy has gone.

    Never raises for an instrument that fails: that becomes an unverified step, and everything else
    is tried all the same.
    """
    currents, voltages = tuple(current_channels), tuple(voltage_channels)
    told: list[_Told] = []
    for role in order:
        if role == "load" and bench.load is not None:
            told.append(_tell("load off", bench.load.off, currents, CURRENT_BOUND_A, "A"))
        elif role == "supply" and bench.supply is not None:
            told.append(_tell("supply off", bench.supply.off, voltages, VOLTAGE_BOUND_V, "V"))
        elif role == "supply" and bench.operator is not None:
            told.append(_tell_person(bench, voltages))
        else:
            told.append(_Told(f"{role} off", False, "nothing here can switch it off", (), 0.0, ""))
    return SafeReport(tuple(_prove(bench, told)))


def _tell(
    what: str, off: Callable[[], bool], channels: tuple[str, ...], bound: float, unit: str
) -> _Told:
    detail = "it does not confirm it"
    for _ in range(TRIES):
        try:
            if off():
                return _Told(what, True, "", channels, bound, unit)
        except InstrumentError as error:
            detail = str(error)
    return _Told(what, False, detail, channels, bound, unit)


def _tell_person(bench: Bench, channels: tuple[str, ...]) -> _Told:
    what = "output off by hand"
    detail = ""
    for _ in range(TRIES):
        try:
            if bench.operator is not None:
                bench.operator.instruct(words.SWITCH_OUTPUT_OFF)
            return _Told(what, True, "", channels, VOLTAGE_BOUND_V, "V", by_person=True)
        except InstrumentError as error:
            detail = str(error)
    return _Told(what, False, detail, channels, VOLTAGE_BOUND_V, "V", by_person=True)


def _prove(bench: Bench, told: list[_Told]) -> list[SafeStep]:
    """Read all channels until each is within its bound for good, or the time is up."""
    channels = tuple(dict.fromkeys(c for one in told for c in one.channels))
    limit_s = PERSON_LIMIT_S if any(one.by_person for one in told) else PROOF_LIMIT_S
    good = dict.fromkeys(channels, 0)
    last: dict[str, str] = {}
    bounds = {c: (one.bound, one.unit) for one in told for c in one.channels}
    try:
        start = at = bench.clock.now()
        while any(count < STEADY_COUNT for count in good.values()) and at - start < limit_s:
            for channel in channels:
                bound, unit = bounds[channel]
                reading = _read(bench, channel, last)
                gone = reading is not None and abs(reading.value) <= bound
                good[channel] = good[channel] + 1 if gone else 0
                if reading is not None:
                    last[channel] = f"{channel} {reading.value:.3g} {unit}"
                    _show(bench, told, reading, within=gone)
            at = bench.clock.sleep_until(at + PROOF_PERIOD_S)
    except InstrumentError as error:
        last[""] = str(error)
    _finish(bench, told)
    return [_step(one, good, last) for one in told]


def _read(bench: Bench, channel: str, last: dict[str, str]) -> Reading | None:
    """Return a reading that is a number, else None with the reason in `last`."""
    try:
        reading = bench.read((channel,))[0]
    except InstrumentError as error:
        last[channel] = str(error)
        return None
    if reading.value != reading.value:  # NaN
        last[channel] = f"{channel} gives no number ({reading.raw!r})"
        return None
    return reading


def _show(bench: Bench, told: list[_Told], reading: Reading, *, within: bool) -> None:
    """Let the person see the reading that proves what was asked."""
    for one in told:
        if one.by_person and one.channels[:1] == (reading.channel,) and bench.operator is not None:
            bench.operator.show(reading.channel, reading.value, within=within)


def _finish(bench: Bench, told: list[_Told]) -> None:
    if any(one.by_person for one in told) and bench.operator is not None:
        try:
            bench.operator.finish()
        except InstrumentError:
            return  # what the readings prove does not depend on it


def _step(one: _Told, good: dict[str, int], last: dict[str, str]) -> SafeStep:
    if not one.channels:
        return SafeStep(one.what, False, one.detail or "no channel is there to prove it")
    text = ", ".join(last.get(channel, f"{channel} was not read") for channel in one.channels)
    gone = all(good[channel] >= STEADY_COUNT for channel in one.channels)
    if not one.confirmed:
        return SafeStep(one.what, False, f"{one.detail} ({text})")
    if not gone:
        reason = last.get("", "")
        return SafeStep(one.what, False, f"still {text}{'; ' + reason if reason else ''}")
    return SafeStep(one.what, True, text)
