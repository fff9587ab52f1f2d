"""The load of a limit sweep, with fixed resistors beside it where it can't reach the limit alone.

In constant voltage the resistors take V/R and the load the rest; the sum is measured. They are
connected for everything but the lowest currents, which are less than they take: there the load is
alone. So they are connected once on the way down and taken off once on the way back.
"""

from collections.abc import Sequence
from dataclasses import replace

from sequencer.documents.limit_resistors import for_sweep, sweep_of
from sequencer.documents.resistors import LEAST_OWN_A, conductance
from sequencer.requests import LoadState
from sequencer.trials.trial import Context

REFERENCE_REGION = "reference"
"""What a sweep's stops on one and the same level are called."""

Stop = tuple[LoadState, str]


def beside_sweep(context: Context, voltage: float, lowest: float) -> tuple[int, ...]:
    """Return the numbers of the resistors that are connected while the limit is traced."""
    load, sweep = context.bench.load, sweep_of(context.unit, voltage, lowest)
    return for_sweep(load.resistors, load.current, load.power, sweep) or ()


def with_resistors(
    context: Context, voltage: float, numbers: tuple[int, ...], stops: Sequence[Stop]
) -> tuple[Stop, ...]:
    """Return the stops of a way with the resistors connected from the first that needs them on.

    What is visited again and again as a reference is raised to what can be drawn both ways, where
    that is possible.
    """
    if not numbers:
        return tuple(stops)
    load = context.bench.load
    takes, most = (voltage * conductance(load.resistors, numbers, sign) for sign in (0.0, 1.0))
    found: list[Stop] = []
    connected = False
    for state, region in stops:
        held = state.on and state.mode == "voltage"
        drawn = state.level if state.on else 0.0
        if region == REFERENCE_REGION and drawn < most + LEAST_OWN_A < load.reach(voltage):
            drawn = most + LEAST_OWN_A
            state = replace(state, level=drawn)  # noqa: PLW2901  # the stop as it is visited
        connected = connected or held or drawn > load.reach(voltage)
        if connected and held:
            found.append((replace(state, resistors=numbers), region))
        elif connected and drawn >= most + LEAST_OWN_A:
            found.append((replace(state, level=drawn - takes, resistors=numbers), region))
        else:
            found.append((state, region))
    return tuple(found)
