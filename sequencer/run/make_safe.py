"""Bring bench and unit to the state without energy, in the declared order, and prove it by reading.

This lowers the risk; it proves only what it reads. Mains parts of the unit stay live until the
line plug is out, and capacitors inside may hold charge.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isnan

from drivers.errors import InstrumentError
from drivers.roles import Bench
from sequencer.run import operator_words as words

CURRENT_BOUND_A = 0.05
"""Under 50 mA nothing heats up any more; the meters' offsets stay below it."""

VOLTAGE_BOUND_V = 2.0
"""Under 2 V little is left in the output capacitor. Not a statement about touching anything."""

PROOF_LIMIT_S = 60.0
PROOF_PERIOD_S = 1.0
TRIES = 3
PERSON_LIMIT_S = 120.0


@dataclass(frozen=True, slots=True)
class SafeStep:
    """One step of making safe and what became of it."""

    what: str
    verified: bool
    detail: str


@dataclass(frozen=True, slots=True)
class SafeReport:
    """The whole of making safe; `verified` only when every step was proven by a reading."""

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


def make_safe(
    bench: Bench,
    order: Sequence[str],
    *,
    current_channels: Sequence[str],
    voltage_channels: Sequence[str],
    was_energised: bool = True,
) -> SafeReport:
    """Switch off what `order` names ("load", "supply") and read back that the energy has gone.

    Never raises for an instrument that fails: that becomes an unverified step, and the next step
    is tried all the same. With `was_energised` False a hand-operated supply is not touched, as
    the run has not asked anybody to switch it on.
    """
    steps: list[SafeStep] = []
    for role in order:
        if role == "load" and bench.load is not None:
            steps.append(
                _step(
                    "load off",
                    bench.load.off,
                    lambda: _proof(bench, current_channels, CURRENT_BOUND_A),
                )
            )
        elif role == "supply" and bench.supply is not None:
            steps.append(
                _step(
                    "supply off",
                    bench.supply.off,
                    lambda: _proof(bench, voltage_channels, VOLTAGE_BOUND_V),
                )
            )
        elif role == "supply" and bench.operator is not None and was_energised:
            steps.append(_supply_by_hand(bench, voltage_channels))
    return SafeReport(tuple(steps))


def _step(what: str, off: Callable[[], bool], proof: Callable[[], tuple[bool, str]]) -> SafeStep:
    detail = "not tried"
    for _ in range(TRIES):
        try:
            confirmed = off()
            gone, detail = proof()
        except InstrumentError as error:
            detail = str(error)
            continue
        if confirmed and gone:
            return SafeStep(what, verified=True, detail=detail)
        if not confirmed:
            detail = f"the instrument does not confirm it ({detail})"
    return SafeStep(what, verified=False, detail=detail)


def _proof(bench: Bench, channels: Sequence[str], bound: float) -> tuple[bool, str]:
    """Read until every channel is within the bound or the time is up."""
    if not channels:
        return False, "no channel is there to prove it"
    start = at = bench.clock.now()
    while True:
        readings = bench.read(tuple(channels))
        text = ", ".join(f"{r.channel} {r.value:.3g}" for r in readings)
        if all(not isnan(r.value) and abs(r.value) <= bound for r in readings):
            return True, text
        if at - start >= PROOF_LIMIT_S:
            return False, f"still {text} after {PROOF_LIMIT_S:.0f} s"
        at = bench.clock.sleep_until(at + PROOF_PERIOD_S)


def _supply_by_hand(bench: Bench, voltage_channels: Sequence[str]) -> SafeStep:
    what = "output off by hand"
    operator = bench.operator
    if operator is None or not voltage_channels:
        return SafeStep(what, verified=False, detail="nobody, or no channel, is there to prove it")
    channel = voltage_channels[0]
    value = float("nan")
    try:
        operator.instruct(words.SWITCH_OUTPUT_OFF)
        start = at = bench.clock.now()
        while at - start < PERSON_LIMIT_S:
            value = bench.read((channel,))[0].value
            within = abs(value) <= VOLTAGE_BOUND_V
            operator.show(channel, value, within=within)
            if within:
                operator.finish()
                return SafeStep(what, verified=True, detail=f"{channel} {value:.3g}")
            at = bench.clock.sleep_until(at + PROOF_PERIOD_S)
        operator.finish()
    except InstrumentError as error:
        return SafeStep(what, verified=False, detail=str(error))
    return SafeStep(
        what,
        verified=False,
        detail=f"{channel} still {value:.3g} after {PERSON_LIMIT_S:.0f} s",
    )
