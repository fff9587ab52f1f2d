"""The current limit's figures by their definitions from the measured points, with no model."""

from dataclasses import dataclass

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array
from sequencer.numerics.limit_figures import (
    LEVEL_SHARE,
    LimitDefinition,
    Quantity,
    from_lines,
    pooled,
)
from sequencer.numerics.line import StraightLine
from sequencer.numerics.measured_lines import LEVEL_ABOVE, level_line, limit_line
from sequencer.numerics.measured_onset import onset

#: The figures that need the constant-current line.
FROM_LIMIT = (
    "limit_current",
    "knee_current",
    "knee_voltage",
    "short_current",
    "limit_change",
    "foldback_ratio",
    "knee_sharpness",
)
#: The figures that need the constant-voltage line.
FROM_LEVEL = (
    "knee_current",
    "knee_voltage",
    "limit_change",
    "foldback_ratio",
    "knee_onset",
    "knee_sharpness",
)
#: A point at most this much above the load voltage, as a share of the set one, stands at it.
_AT_LOAD_VOLTAGE = 0.01
#: A reading at the load voltage within this share of the line is the roundness of a soft corner,
#: which the definition leaves out; more is a limit that does not run straight.
_STRAIGHT = 0.02


@dataclass(frozen=True, slots=True)
class Measured:
    """The lines and the figures that the points themselves give, and why others are missing."""

    level: StraightLine | None
    limit: StraightLine | None
    figures: dict[str, Quantity]
    cannot: dict[str, str]


def from_points(current: Array, voltage: Array, definition: LimitDefinition) -> Measured:
    """Return what the measured points say by the definitions.

    Parameters
    ----------
    current, voltage
        Shape (n,), A and V, checked and finite, any order.
    """
    figures: dict[str, Quantity] = {}
    cannot: dict[str, str] = {}
    level = limit = None
    try:
        _reaches(current, voltage, definition)
        level = level_line(current, voltage, definition)
    except FigureError as error:
        cannot |= dict.fromkeys(FROM_LEVEL, str(error))
    try:
        limit = limit_line(current, voltage, definition)
    except FigureError as error:
        cannot |= dict.fromkeys(FROM_LIMIT, str(error))
    if limit is not None:
        figures |= _on_limit(current, voltage, limit, definition)
    if level is not None and limit is not None:
        try:
            figures |= _of_both(level, limit, figures["short_current"], definition)
        except FigureError as error:
            cannot |= dict.fromkeys(FROM_LEVEL, str(error))
    if level is not None:
        try:
            figures["knee_onset"] = onset(current, voltage, level, definition)
        except FigureError as error:
            cannot |= dict.fromkeys(("knee_onset", "knee_sharpness"), str(error))
    if "knee_onset" in figures and "knee_current" in figures:
        figures["knee_sharpness"] = _ratio(figures["knee_onset"], figures["knee_current"])
    return Measured(level, limit, figures, cannot)


def _reaches(current: Array, voltage: Array, definition: LimitDefinition) -> None:
    """Refuse a curve that ends before the constant-voltage line does.

    Raises
    ------
    FigureError
        If no point lies above 80 % of the rated current.
    """
    top = LEVEL_SHARE * definition.rated_current
    if float(current.max()) > top:
        return
    if float(voltage.min()) < LEVEL_ABOVE * definition.set_voltage:
        raise FigureError(
            f"knee: the current limit lies below {top:.4g} A (80 % of the rated current), where "
            "the constant-voltage line should end. Turn the limit up, or state a lower rating."
        )
    raise FigureError(
        f"knee: the corner was not reached: no current above {top:.4g} A (80 % of the rated "
        "current) was drawn."
    )


def _on_limit(
    current: Array, voltage: Array, limit: StraightLine, definition: LimitDefinition
) -> dict[str, Quantity]:
    """Return limit current and short current.

    A point that was measured at the load voltage itself shows whether the limit runs straight down
    to there; where it does not, what it stands off the line bounds the error (rectangular).
    """
    half, near = definition.set_voltage / 2, definition.load_voltage
    parts = [(limit.u_at(near), limit.dof)]
    at = np.abs(voltage - near) <= _AT_LOAD_VOLTAGE * definition.set_voltage
    if at.any():
        off = float(np.mean(current[at] - limit.intercept - limit.slope * voltage[at]))
        if abs(off) > _STRAIGHT * abs(limit.at(near)):
            parts.append((abs(off) / float(np.sqrt(3.0)), float("inf")))
    short = pooled(limit.at(near), parts)
    return {
        "limit_current": Quantity(limit.at(half), limit.u_at(half), limit.dof, limit.slope),
        "short_current": Quantity(short.value, short.u, short.dof, limit.slope),
    }


def _of_both(
    level: StraightLine, limit: StraightLine, short: Quantity, definition: LimitDefinition
) -> dict[str, Quantity]:
    """Return what needs both lines."""
    both = from_lines(level, limit, definition)
    knee, volts = both["knee_current"], both["knee_voltage"]
    below = 1 - limit.slope * level.slope
    found = {
        "knee_current": Quantity(knee.value, knee.u, knee.dof, limit.slope / below),
        "knee_voltage": Quantity(
            volts.value, volts.u, volts.dof, level.slope * limit.slope / below
        ),
        "limit_change": both["limit_change"],
    }
    if knee.value > 0:
        found["foldback_ratio"] = _ratio(short, knee)
    return found


def _ratio(over: Quantity, under: Quantity) -> Quantity:
    """Return a ratio, both taken as independent."""
    value = over.value / under.value
    found = pooled(
        value, ((over.u / under.value, over.dof), (value * under.u / under.value, under.dof))
    )
    sinking = (over.per_sinking - value * under.per_sinking) / under.value
    return Quantity(found.value, found.u, found.dof, sinking)
