"""Whether a unit follows its sense leads, and so makes up for what the load leads lose.

sense_following (1)
    The part of the load leads' drop that the unit makes up for. Near 1 where it holds the voltage
    at its sense points, 0 where these fall by the whole drop. Its own output resistance takes a
    little off. Formula: (change at the terminals)/(change at the terminals − change at the sense
    points), from no load to full current. Components: scatter of the sense points; scatter of the
    leads' drop; both meters. Common practice, no source.

Sense points that fall by most of the leads' drop mean a unit that does not follow: leads open, not
connected, or a fault. That can be told only where the drop is clearly more than the unit's promised
load regulation; else a weak regulator looks the same.
"""

from sequencer.trials.promised import upper_promise
from sequencer.trials.trial import VOLTAGE_AT_TERMINALS, Context

MUCH_MORE = 4.0
"""A drop of four times the promised load regulation can't be taken for the unit's own fall."""

MOST_LOST = 0.5
"""A unit that makes up for less than half of the drop does not follow its sense leads."""

DEFAULT_REGULATION = 5e-4
"""Without a promised load regulation, 0.05 % of the setting."""


def own_fall(context: Context, voltage: float) -> float:
    """Return what the unit's own output may fall by at full current, in volts."""
    promised = upper_promise(context, {"load_regulation"}, voltage, "current_to")
    return DEFAULT_REGULATION * voltage if promised is None else promised


def expected_drop(context: Context, current: float, terminals_less_sense: float | None) -> float:
    """Return the load leads' drop at a current: measured, else from the wiring, else 0 (unknown).

    `terminals_less_sense` is the measured change between both places, where the terminals have a
    meter.
    """
    if terminals_less_sense is not None:
        return terminals_less_sense
    leads = context.bench.wiring.load_leads
    return 0.0 if leads is None else leads.resistance_ohm * current


def does_not_follow(
    context: Context,
    voltage: float,
    *,
    share: float,
    change_at_sense: float,
    drop: float,
    at_load: bool = False,
) -> str:
    """Say that the unit does not follow its sense leads; empty where it does or can't be told.

    Parameters
    ----------
    share
        The part of full current at which the changes (V) were measured.
    at_load
        Whether the change was measured at the load in place of the sense points.
    """
    if not drop > MUCH_MORE * own_fall(context, voltage) * share:
        return ""
    if -change_at_sense < MOST_LOST * drop:
        return ""
    if at_load:
        return (
            "The unit does not follow its sense leads, or they end far before the load: the load's "
            f"terminals fell by {-change_at_sense * 1e3:.3g} mV, most of the {drop * 1e3:.3g} mV "
            "that the load leads lose. Sense leads that are reversed, open or not connected look "
            "like this."
        )
    return (
        f"The unit does not follow its sense leads: the sense points fell by "
        f"{-change_at_sense * 1e3:.3g} mV, most of the {drop * 1e3:.3g} mV that the load leads "
        "lose. Sense leads that are open or not connected, or a fault in the unit, look like this."
    )


def not_told(context: Context, voltage: float, drop: float) -> str:
    """Say why it can't be told whether the unit follows, empty where it can."""
    if drop > MUCH_MORE * own_fall(context, voltage):
        return ""
    if drop == 0.0 and not context.has(VOLTAGE_AT_TERMINALS):
        return (
            "Whether the unit follows its sense leads was not measured: give "
            f"{VOLTAGE_AT_TERMINALS} a meter, or state the load leads in the bench's wiring."
        )
    return (
        f"Whether the unit follows its sense leads can't be told: the load leads lose only "
        f"{drop * 1e3:.3g} mV at full current. Use longer or thinner ones for this trial."
    )
