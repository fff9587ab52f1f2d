"""The current limit's figures from a traced curve: knee, onset, limit, short, hysteresis."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array, Values, matching, positive, series
from sequencer.numerics.corner_fit import CornerFit, fit_corner
from sequencer.numerics.limit_figures import (
    LEVEL_SHARE,
    LIMIT_SHARES,
    LimitDefinition,
    Quantity,
    from_fit,
    from_lines,
    pooled,
)
from sequencer.numerics.line import StraightLine, fit_line

#: A limit current that falls to less than this share at the short is called foldback.
_FOLDBACK = 0.9
_LEAST_ON_LIMIT = 3
#: Above this multiple of the stated load voltage the short current is called extrapolated.
LOAD_VOLTAGE_SHARE = 1.05


@dataclass(frozen=True, slots=True)
class LimitTrace:
    """What a traced current limit says; None where it can't be said, with the reason in `cannot`.

    Currents in A, voltages in V. `notes` says what a reader should know (foldback, widening).
    """

    limit_current: Quantity | None
    knee_current: Quantity | None
    knee_voltage: Quantity | None
    knee_onset: Quantity | None
    knee_sharpness: Quantity | None
    limit_change: Quantity | None
    short_current: Quantity | None
    foldback_ratio: Quantity | None
    constant_voltage: StraightLine | None
    constant_current: StraightLine | None
    corner: CornerFit | None
    lowest_voltage: float
    cannot: dict[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


#: The figures that need the constant-current line.
_FROM_LIMIT = (
    "limit_current",
    "knee_current",
    "knee_voltage",
    "short_current",
    "limit_change",
    "foldback_ratio",
)
_NAMES = (*_FROM_LIMIT, "knee_onset", "knee_sharpness")


def trace_limit(
    current: Values,
    voltage: Values,
    *,
    set_voltage: float,
    rated_current: float,
    departure: float,
    load_voltage: float,
    u_current: float | None = None,
    u_voltage: float | None = None,
) -> LimitTrace:
    """Return the current limit's figures from points of the output curve.

    Parameters
    ----------
    current, voltage
        Shape (n,), A and V, any order; both legs of a sweep together.
    set_voltage, rated_current
        V and A; they fix the regions of the definitions below.
    departure
        V; onset is where the output has left the constant-voltage line by this.
    load_voltage
        V at which the short-circuit current is stated.
    u_current, u_voltage
        Standard uncertainty of one point from noise and drift (A, V), not from what is common to
        all points (gain): that belongs into the budget once. None: from the scatter.

    Returns
    -------
    LimitTrace
        All from one rounded-corner fit, so their correlations are kept: the definitions' lines are
        taken over even rows of the fitted curve, which no uneven choice of points can tilt.
        Where the corner can't be fitted, limit current, knee and short come from straight lines
        through the points of each region, and `cannot` says why the rest is missing.

    Raises
    ------
    FigureError
        For values that are not finite, fewer than 6 points, or settings not above zero.

    Notes
    -----
    Definitions: constant-voltage line, V against I from no load to 80 % of rated current;
    constant-current line, I against V over 25 to 75 % of the set voltage, points even in V;
    limit current, that line at half the set voltage; knee, the crossing of both; onset, the
    greatest current still within `departure` of the first; sharpness, onset/knee; short current,
    the second line at `load_voltage`; change, short current minus knee current; foldback ratio,
    short/knee. Common practice, no source.
    """
    i = series("current", current, 6)
    v = matching("voltage", voltage, "current", i)
    definition = LimitDefinition(
        positive("set voltage", set_voltage),
        positive("rated current", rated_current),
        positive("departure", departure),
        positive("load voltage", load_voltage),
    )
    level, limit, cannot = _measured_lines(i, v, definition)
    found: dict[str, Quantity] = {}
    notes: list[str] = []
    fit: CornerFit | None = None
    try:
        fit = fit_corner(
            i,
            v,
            level_up_to=LEVEL_SHARE * definition.rated_current,
            u_current=u_current,
            u_voltage=u_voltage,
        )
        found = from_fit(fit, definition)
        notes += _fit_notes(fit)
    except FigureError as error:
        cannot |= dict.fromkeys(("knee_onset", "knee_sharpness"), str(error))
        if level is not None and limit is not None:
            found = from_lines(level, limit, definition)
            notes.append("The corner could not be fitted; lines through the points were used.")
    lowest = float(v.min())
    if limit is None or lowest > definition.set_voltage / 2:
        why = "the load did not pull the output down to half the set voltage."
        for name in (*_FROM_LIMIT, "knee_sharpness"):
            found.pop(name, None)
            cannot.setdefault(name, why)
    elif lowest > LOAD_VOLTAGE_SHARE * definition.load_voltage:
        notes.append(
            f"The short current is extrapolated: the output came down to {lowest:.3g} V only, not "
            f"to {definition.load_voltage:.3g} V."
        )
    ratio = found.get("foldback_ratio")
    if ratio is not None and ratio.value < _FOLDBACK:
        notes.append(f"The limit folds back: {ratio.value:.2f} of the knee's current at the short.")
    for name in _NAMES:
        if name not in found:
            cannot.setdefault(name, "The region it is taken from was not measured.")
    return LimitTrace(
        **{name: found.get(name) for name in _NAMES},
        constant_voltage=level,
        constant_current=limit,
        corner=fit,
        lowest_voltage=lowest,
        cannot={name: why for name, why in cannot.items() if name not in found},
        notes=tuple(notes),
    )


def hysteresis(
    down_current: Values,
    down_voltage: Values,
    back_current: Values,
    back_voltage: Values,
    *,
    set_voltage: float,
) -> Quantity:
    """Return the limit current on the way back minus on the way down, at half the set voltage.

    Parameters
    ----------
    down_current, down_voltage, back_current, back_voltage
        A and V, points of either leg; those between 25 and 75 % of the set voltage are used.
    set_voltage
        V.

    Raises
    ------
    FigureError
        If either leg has fewer than 3 points there.
    """
    at = set_voltage / 2
    legs = []
    for name, i, v in (
        ("down", down_current, down_voltage),
        ("back", back_current, back_voltage),
    ):
        amps = series(f"current, way {name}", i, _LEAST_ON_LIMIT)
        volts = matching(f"voltage, way {name}", v, "current", amps)
        chosen = _on_limit(volts, set_voltage)
        if np.count_nonzero(chosen) < _LEAST_ON_LIMIT:
            raise FigureError(
                f"hysteresis: {np.count_nonzero(chosen)} points of the way {name} lie between 25 "
                f"and 75 % of the set voltage, expected at least {_LEAST_ON_LIMIT}."
            )
        legs.append(fit_line(volts[chosen] - at, amps[chosen]))
    down, back = legs
    parts = ((down.u_intercept, down.dof), (back.u_intercept, back.dof))
    return pooled(back.intercept - down.intercept, parts)


def _measured_lines(
    i: Array, v: Array, definition: LimitDefinition
) -> tuple[StraightLine | None, StraightLine | None, dict[str, str]]:
    """Return the lines through the measured points of both regions, and what is missing."""
    cannot: dict[str, str] = {}
    on_level = (i <= LEVEL_SHARE * definition.rated_current) & (v > 0.9 * definition.set_voltage)
    on_limit = _on_limit(v, definition.set_voltage)
    level = limit = None
    if np.count_nonzero(on_level) >= _LEAST_ON_LIMIT:
        level = fit_line(i[on_level], v[on_level])
    else:
        why = f"{np.count_nonzero(on_level)} points on the constant-voltage line, expected 3."
        cannot |= dict.fromkeys(("knee_current", "knee_voltage", "knee_onset"), why)
    if np.count_nonzero(on_limit) >= _LEAST_ON_LIMIT and np.ptp(v[on_limit]) > 0:
        limit = fit_line(v[on_limit], i[on_limit])
    else:
        why = (
            f"{np.count_nonzero(on_limit)} points between 25 and 75 % of the set voltage, expected "
            "at least 3: the load did not pull the output down far enough."
        )
        cannot |= dict.fromkeys((*_FROM_LIMIT, "knee_sharpness"), why)
    return level, limit, cannot


def _fit_notes(fit: CornerFit) -> list[str]:
    if fit.widened <= _WORTH_A_NOTE:
        return []
    text = (
        f"The points scatter {fit.widened:.2g} times more about the rounded corner than their "
        "uncertainties explain; the figures' uncertainties were widened by this factor."
    )
    return [text]


#: Residuals larger than expected by less than this are chance.
_WORTH_A_NOTE = 1.3


def _on_limit(v: Array, set_voltage: float) -> NDArray[np.bool_]:
    low, high = (share * set_voltage for share in LIMIT_SHARES)
    return (v >= low * 0.98) & (v <= high * 1.02)
