"""Budgets of the current limit's figures: currents as read, ratios and differences of them."""

from sequencer.errors import FigureError
from sequencer.numerics.limit_figures import Quantity
from sequencer.results import Component, Figure
from sequencer.trials.limit_trace import Traced
from sequencer.trials.trial import Context, Evidence
from sequencer.uncertainty import accuracy as meter
from sequencer.uncertainty.combine import rectangular, type_a
from sequencer.uncertainty.figure import make_figure
from sequencer.uncertainty.ratio import ratio_components


def absolute(context: Context, data: Traced, name: str, quantity: Quantity) -> list[Component]:
    """Return the budget of a current: scatter of the fit, the meter, and both legs' difference."""
    statement = context.accuracy(context.current)
    return [
        *meter.mean_of(
            statement,
            quantity.value,
            data.readings,
            scatter=type_a("scatter about the curve", quantity.u, max(quantity.dof, 1.0)),
        ),
        rectangular("difference between both ways", data.between_legs(name)),
        data.pace_part(name),
    ]


def relative(
    evidence: Evidence, data: Traced, reached: dict[str, float]
) -> tuple[list[Figure], dict[str, str]]:
    """Return the figures that are ratios or differences of currents: gain or offset cancels.

    Where everything cancels and nothing scatters, nothing is left to state an uncertainty from:
    the second part says so by name, and costs the other figures nothing.
    """
    statement = evidence.context.accuracy(evidence.context.current)
    found: list[Figure] = []
    missing: dict[str, str] = {}
    if (knee := data.trace.knee_current) is None:
        return found, missing
    budgets: dict[str, tuple[Quantity, str, list[Component]]] = {}
    for name in RATIOS:
        ratio: Quantity | None = getattr(data.trace, name)
        if ratio is not None:
            budget = _ratio_budget(statement, data, name, ratio, knee)
            budgets[name] = (ratio, "1", budget)
    for name, quantity in (
        ("limit_change", data.trace.limit_change),
        ("limit_hysteresis", data.hysteresis),
    ):
        if quantity is not None:
            budget = _difference_budget(statement, data, quantity, knee)
            budgets[name] = (quantity, "A", budget)
    if "limit_change" in budgets:
        budgets["limit_change"][2].append(data.pace_part("limit_change"))
    for name, (quantity, unit, budget) in budgets.items():
        try:
            value = quantity.value
            found.append(make_figure(evidence.trial, name, value, unit, budget, reached=reached))
        except FigureError as error:
            missing[name] = str(error)
    return found, missing


def _ratio_budget(
    statement: meter.Accuracy, data: Traced, name: str, ratio: Quantity, knee: Quantity
) -> list[Component]:
    return [
        rectangular("difference between both ways", data.between_legs(name)),
        data.pace_part(name),
        *ratio_components(
            statement,
            ratio.value * knee.value,
            knee.value,
            lag_s=data.lag_s,
            readings=data.readings,
            scatter=type_a("scatter about the curve", ratio.u, max(ratio.dof, 1.0)),
        ),
    ]


def _difference_budget(
    statement: meter.Accuracy, data: Traced, quantity: Quantity, knee: Quantity
) -> list[Component]:
    return meter.difference(
        statement,
        knee.value,
        knee.value + quantity.value,
        lag_s=data.lag_s,
        readings=data.readings,
        heating_change=min(abs(quantity.value) / knee.value, 1.0),
        scatter=type_a("scatter about the curve", quantity.u, max(quantity.dof, 1.0)),
    )


RATIOS = ("knee_sharpness", "foldback_ratio")
"""Ratios of two currents, both over the knee current."""
