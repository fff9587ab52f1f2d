"""The current limit's figures from a traced curve: knee, onset, limit, short, hysteresis."""

from dataclasses import dataclass, field

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import (
    EXACT,
    Array,
    Values,
    matching,
    measured,
    not_negative,
    positive,
    series,
)
from sequencer.numerics.corner_check import why_not
from sequencer.numerics.corner_fit import CornerFit, fit_corner
from sequencer.numerics.limit_figures import (
    LEVEL_SHARE,
    LimitDefinition,
    Quantity,
    from_fit,
    pooled,
)
from sequencer.numerics.line import StraightLine, fit_line
from sequencer.numerics.measured_figures import FROM_LIMIT, Measured, from_points
from sequencer.numerics.measured_lines import on_limit, together

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


_JUDGED = ("limit_current", "knee_current", "knee_onset", "short_current")
_NAMES = (*FROM_LIMIT, "knee_onset")


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
        all points (gain): that belongs into the budget once; above zero. None: from the scatter.

    Returns
    -------
    LimitTrace
        All from one rounded-corner fit, so their correlations are kept: the definitions' lines are
        taken over even rows of the fitted curve, which no uneven choice of points can tilt.
        Where no rounded corner describes the points (`sequencer.numerics.corner_check`), all come
        from the points themselves by the same definitions, `notes` says so and why, and `cannot`
        says why others are missing.

    Raises
    ------
    FigureError
        For values that are not finite, fewer than 6 points, or settings or uncertainties not above
        zero.

    Notes
    -----
    Definitions: constant-voltage line, V against I from no load to 80 % of rated current;
    constant-current line, I against V over 25 to 75 % of the set voltage, points even in V;
    limit current, that line at half the set voltage; knee, the crossing of both; onset, the
    current up to which all are within `departure` of the first; sharpness, onset/knee; short
    current, the second line at `load_voltage`; change, short current minus knee current; foldback
    ratio, short/knee. Common practice, no source.

    Examples
    --------
    A 30 V / 3 A unit whose limit stands at 3.3 A and rounds its corner over 20 mA:

    >>> import numpy as np
    >>> level = np.linspace(0, 2.4, 9)
    >>> fall = np.concatenate([np.geomspace(1e-3, 7, 20), np.linspace(7.5, 29.0, 12)])
    >>> limit = 3.3 + 0.02 * np.log(fall)
    >>> i = np.concatenate([level, limit])
    >>> v = 30 - 2e-3 * i - np.concatenate([np.zeros(9), fall])
    >>> i = i + 1e-4 * np.random.default_rng(1).standard_normal(i.size)
    >>> v = v + 5e-5 * np.random.default_rng(2).standard_normal(v.size)
    >>> found = trace_limit(
    ...     i, v, set_voltage=30.0, rated_current=3.0, departure=8e-3, load_voltage=1.0
    ... )
    >>> f"{found.limit_current.value:.3f} A, onset {found.knee_onset.value:.3f} A"
    '3.353 A, onset 3.203 A'
    """
    i = measured(series("current", current, 6), "current", "A")
    v = measured(matching("voltage", voltage, "current", i), "voltage", "V")
    definition = LimitDefinition(
        positive("set voltage", set_voltage),
        positive("rated current", rated_current),
        positive("departure", departure),
        positive("load voltage", load_voltage),
    )
    for name, stated in (("u_current", u_current), ("u_voltage", u_voltage)):
        if stated is not None:
            positive(f"{name} of the points", stated)
    with np.errstate(all="ignore"):
        points = from_points(i, v, definition)
        fit, found, why = _fitted(i, v, definition, (u_current, u_voltage), points)
    cannot = dict(points.cannot)
    notes: list[str] = []
    if fit is not None and not why:
        notes += _fit_notes(fit)
    else:
        found = dict(points.figures)
        if found:
            notes.append(
                "Limit, knee and onset were taken from the measured points themselves, not from a "
                f"fitted rounded corner: {why}."
            )
    lowest = float(v.min())
    if points.limit is None or lowest > definition.set_voltage / 2:
        low = "The load did not pull the output down to half the set voltage."
        for name in FROM_LIMIT:
            found.pop(name, None)
            cannot.setdefault(name, low)
    elif lowest > LOAD_VOLTAGE_SHARE * definition.load_voltage:
        notes.append(
            f"The short current is extrapolated: the output came down to {lowest:.3g} V only, not "
            f"to {definition.load_voltage:.3g} V."
        )
    found = {name: one for name, one in found.items() if _sound(one)}
    ratio = found.get("foldback_ratio")
    if ratio is not None and ratio.value < _FOLDBACK:
        notes.append(f"The limit folds back: {ratio.value:.2f} of the knee's current at the short.")
    for name in _NAMES:
        if name not in found:
            cannot.setdefault(name, "The points do not determine it.")
    notes += dict.fromkeys(
        cannot[name][:1].upper() + cannot[name][1:] for name in _JUDGED if name not in found
    )
    return LimitTrace(
        **{name: found.get(name) for name in _NAMES},
        constant_voltage=points.level,
        constant_current=points.limit,
        corner=fit,
        lowest_voltage=lowest,
        cannot={name: text for name, text in cannot.items() if name not in found},
        notes=tuple(notes),
    )


def _fitted(
    i: Array,
    v: Array,
    definition: LimitDefinition,
    stated: tuple[float | None, float | None],
    points: Measured,
) -> tuple[CornerFit | None, dict[str, Quantity], str]:
    """Return the rounded corner, the figures it gives, and why it is not to be used ("" if it is).

    A curve may be of any shape, and a fit may then break down in many ways; each only means that
    the points have to speak for themselves.
    """
    try:
        fit = fit_corner(
            i,
            v,
            level_up_to=LEVEL_SHARE * definition.rated_current,
            u_current=stated[0],
            u_voltage=stated[1],
        )
        found = from_fit(fit, definition)
    except FigureError as error:
        return None, {}, str(error).rstrip(".")
    except (ValueError, ArithmeticError, np.linalg.LinAlgError):
        return None, {}, "the points do not fix one"
    return fit, found, why_not(fit, found, points.figures, i, v)


def _sound(one: Quantity) -> bool:
    """Return whether value and uncertainty are numbers."""
    return all(np.isfinite(number) for number in (one.value, one.u, one.per_sinking))


def hysteresis(
    down_current: Values,
    down_voltage: Values,
    back_current: Values,
    back_voltage: Values,
    *,
    set_voltage: float,
    down_times: Values | None = None,
    back_times: Values | None = None,
    least_scatter: float = 0.0,
) -> Quantity:
    """Return the limit current on the way back minus on the way down, at half the set voltage.

    Parameters
    ----------
    down_current, down_voltage, back_current, back_voltage
        A and V, points of either leg; those between 25 and 75 % of the set voltage are used.
    set_voltage
        V.
    down_times, back_times
        Shapes as the legs', s. Where given, what the limit moves while time goes by (the unit warms
        while it limits) is told from hysteresis: the time between both visits differs from level to
        level, the line through the differences against it is taken at no time.
    least_scatter
        A, standard deviation below which a difference can't be known, as its readings are rounded.
        Three rounded differences lie on one line by chance now and then.

    Raises
    ------
    FigureError
        If either leg has fewer than 3 points, or different voltages, there; or the ways differ by
        the same to the last digit and no least scatter is stated.
    """
    at = positive("set voltage", set_voltage) / 2
    not_negative("least scatter", least_scatter)
    legs = []
    times = []
    for name, i, v, t in (
        ("down", down_current, down_voltage, down_times),
        ("back", back_current, back_voltage, back_times),
    ):
        amps = measured(series(f"current, way {name}", i, _LEAST_ON_LIMIT), "current", "A")
        volts = measured(matching(f"voltage, way {name}", v, "current", amps), "voltage", "V")
        chosen = on_limit(volts, set_voltage)
        if np.count_nonzero(chosen) < _LEAST_ON_LIMIT:
            raise FigureError(
                f"hysteresis: {np.count_nonzero(chosen)} points of the way {name} lie between 25 "
                f"and 75 % of the set voltage, expected at least {_LEAST_ON_LIMIT}."
            )
        legs.append(together(volts[chosen] - at, amps[chosen], set_voltage / 2))
        if t is not None:
            seconds = matching(f"times, way {name}", t, "current", amps)
            times.append(together(volts[chosen] - at, seconds[chosen], set_voltage / 2).y)
    down, back = legs
    if min(down.x.size, back.x.size) < _LEAST_ON_LIMIT:
        raise FigureError(
            f"hysteresis: found {down.x.size} and {back.x.size} different voltages on the ways "
            f"down and back, expected at least {_LEAST_ON_LIMIT} on each."
        )
    if down.x.size != back.x.size or not np.allclose(
        down.x, back.x, rtol=0.0, atol=_SAME_LEVEL * set_voltage
    ):
        lines = [fit_line(leg.x, leg.y) for leg in legs]
        parts = tuple((line.u_intercept, line.dof) for line in lines)
        return pooled(lines[1].intercept - lines[0].intercept, parts)
    # Moved along the way down to the very voltage of the way back; then the bend of the limit, the
    # same on both ways, is in no difference.
    moved = down.y + np.gradient(down.y, down.x) * (back.x - down.x)
    lag = times[1] - times[0] if len(times) == len(legs) else back.x
    design = np.column_stack([np.ones(back.x.size), lag if np.ptp(lag) > 0 else back.x])
    inverse = np.linalg.inv(design.T @ design)
    solution = inverse @ design.T @ (back.y - moved)
    rest = back.y - moved - design @ solution
    dof = float(rest.size - design.shape[1])
    scatter = max(float(np.sqrt(rest @ rest / dof)), least_scatter)
    if scatter <= EXACT * float(np.abs(back.y).max()):
        raise FigureError(
            "hysteresis: both ways differ by the same to the last digit; the scatter is unknown. "
            "State the least scatter, by the ammeter's step at least."
        )
    return Quantity(float(solution[0]), scatter * float(np.sqrt(inverse[0, 0])), dof)


#: Both ways visited the same levels when their voltages differ by less than this share of the
#: setting; a load comes back to a level far better.
_SAME_LEVEL = 0.01


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
