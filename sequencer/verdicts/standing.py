"""What a value that was measured over another range than the promised one tells about it."""

from typing import Literal

from sequencer.documents.figure_names import OF_THE_LIMIT
from sequencer.documents.quantities import format_quantity
from sequencer.verdicts.coverage import CoverageCheck

Standing = Literal["same", "at least", "at most", "other"]
"""How the promised value stands to the measured one: equal, no nearer to zero, no farther from
zero, or unknown."""

#: By what was not fully reached: figures that are the greatest of something from the start on, so
#: that more of it can only raise them. A straight line or a mean moves with the range; what departs
#: from them is not such a figure.
ONLY_GROW = {
    "current_to": frozenset({"load_regulation"}),
    "duration": frozenset({"drift", "drift_span"}),
}
#: Figures of the current limit that stand at the lowest voltage at the load: a limit that folds
#: back has another current at each.
AT_THE_LOWEST = frozenset({"short_current", "limit_change", "foldback_ratio"})
#: By what was exceeded: figures that don't depend on it, or are better known with more of it.
INDIFFERENT = {
    "load_voltage": frozenset(OF_THE_LIMIT) - AT_THE_LOWEST,
    "current_from": frozenset(OF_THE_LIMIT),
    "current_to": frozenset(OF_THE_LIMIT),
    "duration": frozenset(
        {
            "temperature_coefficient",
            "warm_up_time",
            "allan_deviation_1min",
            "allan_deviation_10min",
            "allan_deviation_1h",
            "dissipation",
            "heatsink_rise",
            "heatsink_rise_per_watt",
            "heatsink_time_constant",
        }
    ),
}
#: By what was exceeded: figures of one moment or place, which more of it makes another figure.
OF_A_MOMENT = {
    "duration": frozenset({"residual_voltage", "thermal_tail", "drift_rate"}),
    "current_to": frozenset(
        {"heatsink_rise_per_watt", "heatsink_time_constant", "output_resistance"}
    ),
    "load_voltage": AT_THE_LOWEST,
}


def way_out(check: CoverageCheck) -> str:
    """Return what to do where more than promised was measured."""
    if "load_voltage" in check.beyond:
        return "No trial tells the current there alone: see the chart of the sweep."
    if set(check.beyond) == {"current_from"}:
        return "Trials begin without load, so this can't be told from them."
    return "Let a trial go so far and no further."


def standing(figure: str, check: CoverageCheck) -> Standing:
    """Return how the promised value of a figure stands to the one that was measured.

    Notes
    -----
    That a unit departs no less with more load, or over a longer time, is common practice, no
    source; that the greatest of something grows with the range follows from what it is.
    """
    for short in check.short:
        if figure not in ONLY_GROW.get(short, frozenset()):
            return "other"
    beyond = [one for one in check.beyond if figure not in INDIFFERENT.get(one, frozenset())]
    if any(figure in OF_A_MOMENT.get(one, frozenset()) for one in beyond):
        return "other"
    if check.short:
        return "other" if beyond else "at least"
    return "at most" if beyond else "same"


def holds_zero(lower: float | None, upper: float | None) -> bool:
    """Tell whether a value that comes nearer to zero stays within the bounds."""
    return (lower is None or lower <= 0.0) and (upper is None or upper >= 0.0)


def more_words(check: CoverageCheck) -> str:
    """Say over what more than promised was measured; "" where it was not."""
    return " and ".join(
        f"a {part.words} of {format_quantity(part.reached or 0.0, part.unit, 4)} where the limit "
        f"is stated for {format_quantity(part.required, part.unit, 7)}"
        for part in check.parts
        if part.beyond
    )
