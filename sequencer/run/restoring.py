"""How a bench is brought back to the state in which a trial was cut off."""

from collections.abc import Sequence
from dataclasses import replace

from sequencer.record.read import Step
from sequencer.requests import Apply, Ask, LoadState, Procedure, Read, SupplyState
from sequencer.run.operator_words import SWITCH_LINE_ON
from sequencer.trials.steps import LOAD_OFF


def restoring(steps: Sequence[Step], again: Read | None, *, line_off: bool) -> Procedure:
    """Set supply and load to what they were set to at the end of `steps`; then warm up."""
    load, supply = last_states(steps)
    yield Apply(LOAD_OFF)
    if line_off:
        yield Ask(SWITCH_LINE_ON)
    if supply is not None:
        yield Apply(supply)
    if load is not None:
        yield Apply(load)
    if again is not None:
        yield again


def last_states(steps: Sequence[Step]) -> tuple[LoadState | None, SupplyState | None]:
    """Return what load and supply were set to last; each control of the supply by itself."""
    load: LoadState | None = None
    supply: SupplyState | None = None
    for step in steps:
        match step.request:
            case Apply(state=LoadState() as state):
                load = state
            case Apply(state=SupplyState() as state):
                supply = state if supply is None else _merged(supply, state)
    return load, supply


def _merged(before: SupplyState, after: SupplyState) -> SupplyState:
    limit = before.current_limit if after.current_limit is None else after.current_limit
    merged = replace(
        before,
        current_limit=limit,
        output=before.output if after.output is None else after.output,
    )
    if after.voltage is None:
        return merged
    return replace(
        merged, voltage=after.voltage, proof_channel=after.proof_channel, band=after.band
    )
