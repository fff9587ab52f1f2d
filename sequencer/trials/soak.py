"""Soak: whether the output holds for hours at constant load, line and setting.

After the warm-up at the same load, the output is read at a steady cadence; figures are drawn from
one-minute means. Terms: drift after warm-up, all else constant.
"""

from contextlib import suppress
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.ambient import (
    TemperatureCoefficient,
    temperature_coefficient,
    without_room,
)
from sequencer.numerics.drift import Departures, departures, rate
from sequencer.numerics.maximum import Maximum
from sequencer.numerics.minutes import MinuteMeans
from sequencer.requests import Array, Note, Procedure, Read, Readings
from sequencer.results import Chart, Component, Figure, Line, Mark, Shown
from sequencer.trials.between_readings import between_readings
from sequencer.trials.brackets import HELD_SHARE
from sequencer.trials.parts import of
from sequencer.trials.promised import promised_below, upper_promise, with_points
from sequencer.trials.soaked import (
    RANDOM_WALK_SLOPE,
    Settings,
    Soaked,
    channels_of,
    fallen,
    means_of,
    phase_of,
    soaked,
    steps_of,
    warm_up_s,
)
from sequencer.trials.stability import AVERAGES, stability_chart, stability_figures
from sequencer.trials.steps import full_load, leave, prepare
from sequencer.trials.thermal_tail import gave_way
from sequencer.trials.trial import AMBIENT, HEATSINK, VOLTAGE, Context, Evidence, Trial
from sequencer.trials.warming import band_of, warm_up_figure, warming
from sequencer.uncertainty.accuracy import (
    following_components,
    scale_components,
    wander_components,
)
from sequencer.uncertainty.combine import combine, normal, rectangular, triangular, type_a
from sequencer.uncertainty.figure import make_figure


def procedure(settings: Settings, context: Context) -> Procedure:
    """Warm up at full load, then read for the whole duration."""
    channels = channels_of(settings, context)
    yield from prepare(settings.voltage)
    yield from full_load(context, settings.voltage, settings.current, {"phase": "trim"})
    for phase, duration_s in (
        ("warm-up", warm_up_s(settings, context)),
        ("soak", settings.duration),
    ):
        reply = yield Read(
            channels=channels,
            count=steps_of(duration_s, settings.period) + 1,
            period_s=settings.period,
            tag={"phase": phase},
        )
        if phase == "warm-up" and isinstance(reply, Readings) and (why := fallen(reply, settings)):
            yield Note(f"{why} The soak is not gone on with.", "warning")
            break
    yield from leave()


def again(settings: Settings, context: Context, interrupted: Read) -> Read | None:
    """Warm up anew before a soak goes on; an interrupted warm-up is begun anew as a whole."""
    if interrupted.tag.get("phase") != "soak":
        return None
    return Read(
        channels=channels_of(settings, context),
        count=round(warm_up_s(settings, context) / settings.period) + 1,
        period_s=settings.period,
        tag={"phase": "warm-up again"},
    )


def _departures(minutes: MinuteMeans, evidence: Evidence) -> tuple[Departures, ...]:
    """Return the departures with the likely noise of the means, the least and the most."""
    noisy = between_readings(minutes, evidence.context.accuracy(VOLTAGE))
    return tuple(departures(means) for means in (noisy.likely, noisy.least, noisy.most))


def figures(settings: Settings, evidence: Evidence) -> tuple[Figure, ...]:
    """Compute drift in three definitions, its rate, temperature coefficient, warm-up, stability.

    All from one-minute means after the warm-up. warm_up_time: `sequencer.trials.warming`;
    allan_deviation_1min and its like: `sequencer.trials.stability`.

    drift (V)
        The greatest departure of the output from its value just after warm-up. Formula:
        max |V̄(t) − V̄(0)| over one-minute means, less what noise lifts it by on average.
        Components: noise of the first mean, which moves the greatest less where departures lie on
        both sides; noise of the farthest mean; lift by noise; what happens between readings; the
        voltmeter's own stability and what it follows of the room over the same time, its gain on
        the difference. Its offset cancels. Source: common practice, no source.
    drift_span (V)
        Highest less lowest output. Formula: max V̄(t) − min V̄(t). Components: as drift: noise of
        the farthest mean; lift by noise; what happens between readings; the voltmeter's stability
        and what it follows of the room. Source: common practice, no source.
    drift_about_mean (V)
        The greatest departure from the mean of all. Formula: max |V̄(t) − mean V̄|. Components: as
        drift: noise of the farthest mean; lift by noise; what happens between readings; the
        voltmeter's stability and what it follows of the room. Source: common practice, no source.
    drift_rate (V/s, signed)
        The slope of this soak. Formula: least-squares slope of V̄ against time. Components: noise
        of the means; the voltmeter's gain, its stability and what it follows of the room over the
        soak, as a random walk bends a line. How much another soak may differ is in the note.
        Source: NIST/SEMATECH e-Handbook 4.1.4.1 (least squares).
    temperature_coefficient (V/K, signed)
        How the output follows the room, where the room changed enough. Formula: least-squares
        slope of V̄ against the room's temperature, delayed by the lag that fits best, beside a
        drift with a bend. Components: scatter about the fit; lag behind the room; meter's gain
        following the room; meter's offset following the room. Source: common practice, no source.
    drift_corrected (V)
        The drift once the room's part is taken off. Formula: as drift, of
        V̄(t) − coefficient·(T(t − lag) − T(0)). Components: as drift: noise of the first mean;
        noise of the farthest mean; lift by noise; what happens between readings; temperature
        coefficient over the room's change; the voltmeter's stability. Source: common practice, no
        source.

    Raises
    ------
    FigureError
        When the soak never began, or fills fewer than two minutes.
    """
    data = soaked(settings, evidence)
    promised = promised_below(evidence.context, DRIFTS, "duration", data.duration_s)
    parts = []
    for duration_s in promised:
        with suppress(FigureError):  # too short to tell, or all alike: the whole is judged
            parts.append(_drifts(settings, evidence, soaked(settings, evidence, duration_s)))
    whole = _drifts(settings, evidence, data)
    results = [with_points(one, parts, "duration") for one in whole]
    results += _of_the_room_and_stability(settings, evidence, data)
    return tuple(results)


DRIFTS = ("drift", "drift_span", "drift_about_mean", "drift_rate")


BELOW_DRIFT = (
    "It stands below the drift, as no span truly can: noise puts both off, within their U."
)


def _reached(data: Soaked) -> dict[str, float]:
    return {
        "voltage": float(data.minutes.mean[0]),
        "current_to": data.current,
        "duration": data.duration_s,
    }


def _drifts(settings: Settings, evidence: Evidence, data: Soaked) -> list[Figure]:
    """Return the drift in its three definitions, and its rate, over what was soaked."""
    found, least, most = _departures(data.minutes, evidence)
    reached = _reached(data)
    means = data.minutes.mean
    farthest, about = found.from_start.index + 1, found.about_mean.index
    parts = (
        (
            "drift",
            found.from_start,
            most.from_start.value - least.from_start.value,
            Own(found.time_from_start_s, data.room_between(0, farthest)),
        ),
        (
            "drift_span",
            found.span,
            most.span.value - least.span.value,
            Own(found.time_span_s, data.room_between(int(np.argmin(means)), int(np.argmax(means)))),
        ),
        (
            "drift_about_mean",
            found.about_mean,
            most.about_mean.value - least.about_mean.value,
            Own(lag_to_mean(data, about), data.room_from_mean(about)),
        ),
    )
    notes = tuple(data.minutes.notes)
    results = [
        make_figure(
            evidence.trial,
            name,
            maximum.value,
            "V",
            _budget(evidence, settings, own, found, maximum, unsure),
            reached=reached,
            notes=(*notes, *_against_limit(settings, evidence, name, own)),
        )
        for name, maximum, unsure, own in parts
    ]
    drift, span = results[:2]
    if span.value < drift.value:
        results[1] = replace(span, notes=(*span.notes, BELOW_DRIFT))
    if data.minutes.mean.size >= LEAST_FOR_RATE:
        results.append(_rate(settings, evidence, data, reached))
    return results


def _of_the_room_and_stability(
    settings: Settings, evidence: Evidence, data: Soaked
) -> list[Figure]:
    """Return what the whole soak tells of the room, of stability and of the warm-up."""
    reached, results = _reached(data), []
    try:
        room = room_effect(data)
    except FigureError:
        pass  # said by `cannot`
    else:
        results.append(_coefficient(evidence, data, room, reached))
        results.append(_corrected(settings, evidence, data, room, reached))
    results += stability_figures(
        evidence,
        data.minutes,
        room=data.ambient,
        unseen_room_k=data.unseen_room_k,
        voltage=settings.voltage,
        reached=reached,
    )
    with suppress(FigureError):  # said by `cannot`
        results.append(
            warm_up_figure(
                evidence,
                phase_of(evidence, "warm-up"),
                band_of(settings.warm_up_band, settings.voltage, evidence.context),
                voltage=settings.voltage,
                reached=reached,
            )
        )
    return results


LEAST_FOR_RATE = 6
"""Fewer means say nothing about the correlation of what a straight line leaves."""


def lacks(settings: Settings, context: Context) -> dict[str, str]:
    """Say that the room has to be read to tell what the output does with it."""
    if AMBIENT in channels_of(settings, context):
        return {}
    what = f"{AMBIENT} among the soak's channels" if context.has(AMBIENT) else AMBIENT
    return dict.fromkeys(("temperature_coefficient", "drift_corrected"), what)


def cannot(settings: Settings, evidence: Evidence) -> dict[str, str]:
    """Say which figures the soak doesn't give, and why."""
    data = soaked(settings, evidence)
    found: dict[str, str] = {}
    try:
        room_effect(data)
    except FigureError as error:
        found |= dict.fromkeys(("temperature_coefficient", "drift_corrected"), str(error))
    try:
        band = band_of(settings.warm_up_band, settings.voltage, evidence.context)
        warming(phase_of(evidence, "warm-up"), band, evidence.context, settings.voltage)
    except FigureError as error:
        found["warm_up_time"] = str(error)
    lowest = float(data.minutes.mean.min())
    if lowest < HELD_SHARE * settings.voltage:
        found["output"] = gave_way(lowest, "during the soak")
    return found


@dataclass(frozen=True, slots=True)
class Own:
    """Over what the meter itself may move: a time (s), and a change of the room (K)."""

    lag_s: float
    room_change_k: float


def lag_to_mean(data: Soaked, at: int) -> float:
    """Return the time (s) over which a random walk goes as far as it is from its own mean.

    For a walk w over the time T, at the share s of it, the variance of w(sT) − mean w is that of a
    walk over T·(1/3 − s + s²): a third of T at either end, a twelfth in the middle. By integrating
    the covariance min(t, t′).
    """
    time = data.minutes.time
    share = float((time[at] - time[0]) / (time[-1] - time[0]))
    return data.duration_s * (1.0 / 3.0 - share + share**2)


def _against_limit(settings: Settings, evidence: Evidence, name: str, own: Own) -> tuple[str, ...]:
    """Compare the meter's own stability over the same time with the promised limit."""
    bound = upper_promise(evidence.context, {name}, settings.voltage, "duration")
    parts = _wander(settings, evidence, own)
    if bound is None or not any(part.contribution for part in parts):
        return ()
    expanded = combine(parts).expanded
    return (
        f"The meter alone may wander by {expanded * 1e3:.2g} mV (95 %) over this time: the limit "
        f"of {bound * 1e3:.3g} mV is {bound / expanded:.3g} times as much.",
    )


def _budget(
    evidence: Evidence,
    settings: Settings,
    own: Own,
    found: Departures,
    maximum: Maximum,
    unsure: float,
) -> list[Component]:
    accuracy = evidence.context.accuracy(VOLTAGE)
    return [
        of(type_a("noise of the first mean", maximum.u_common, found.noise_dof), VOLTAGE, "V"),
        of(type_a("noise of the farthest mean", maximum.u, found.noise_dof), VOLTAGE, "V"),
        rectangular("lift by noise", maximum.u_bias * sqrt(3.0)),
        of(triangular("what happens between readings", abs(unsure) / 2.0), VOLTAGE, "V"),
        *scale_components(accuracy, maximum.value),
        *_wander(settings, evidence, own),
    ]


def _wander(settings: Settings, evidence: Evidence, own: Own) -> list[Component]:
    """Return what the meter itself may move by over a time of the soak."""
    return wander_components(
        evidence.context.accuracy(VOLTAGE),
        settings.voltage,
        lag_s=own.lag_s,
        temperature_change_k=own.room_change_k,
    )


def _rate(
    settings: Settings, evidence: Evidence, data: Soaked, reached: dict[str, float]
) -> Figure:
    found = rate(data.minutes)
    accuracy = evidence.context.accuracy(VOLTAGE)
    hourly = found.u * 3600 * 1e3
    return make_figure(
        evidence.trial,
        "drift_rate",
        found.rate,
        "V/s",
        [
            of(
                type_a("noise of the means", found.u_of_this_soak, data.minutes.mean.size - 2),
                VOLTAGE,
                "V/s",
            ),
            *scale_components(accuracy, found.rate),
            *wander_components(
                accuracy,
                settings.voltage,
                lag_s=data.duration_s,
                sensitivity=RANDOM_WALK_SLOPE / data.duration_s,
            ),
            *following_components(accuracy, settings.voltage, data.room_rate()),
        ],
        reached=reached,
        notes=(
            "The rate of this soak. Another soak of the same unit may differ by a standard "
            f"uncertainty of {hourly:.3g} mV/h, as what is left over the line is correlated "
            f"over {found.correlation_time:.3g} minutes.",
        ),
    )


def room_effect(data: Soaked) -> TemperatureCoefficient:
    """Return how the output follows the room.

    Raises
    ------
    FigureError
        Where the room was not measured or did not show it.
    """
    if data.ambient is None:
        raise FigureError(
            f"The room's temperature was not measured ({AMBIENT}), so the output's change with it "
            "is unknown."
        )
    return temperature_coefficient(data.minutes, data.ambient, lag_s=None)


def _corrected(
    settings: Settings,
    evidence: Evidence,
    data: Soaked,
    room: TemperatureCoefficient,
    reached: dict[str, float],
) -> Figure:
    """Return the drift with the room's part taken off; the meter's part of that goes with it."""
    found, least, most = _departures(room.corrected, evidence)
    unsure = most.from_start.value - least.from_start.value
    steady = Own(found.time_from_start_s, 0.0)
    value = found.from_start.value

    by_coefficient, by_lag = _unsure_by_room(data, room)
    return make_figure(
        evidence.trial,
        "drift_corrected",
        value,
        "V",
        [
            *_budget(evidence, settings, steady, found, found.from_start, unsure),
            of(type_a("temperature coefficient", by_coefficient, room.dof), AMBIENT, "V"),
            of(normal("lag behind the room", by_lag), AMBIENT, "V"),
        ],
        reached=reached,
        notes=(
            f"Taken off: {room.value * 1e3:.3g} mV/K with a lag of {room.lag_s:.0f} s, over "
            f"{room.span_k:.2g} K.",
        ),
    )


def _unsure_by_room(data: Soaked, room: TemperatureCoefficient) -> tuple[float, float]:
    """Return what coefficient and lag leave open of the corrected drift, standard, in V.

    Over all lags that the means allow, by their likelihood: mean square of what the coefficient's
    own uncertainty does, and mean square distance from what the best lag gives.
    """

    def drift(coefficient: float, followed: Array) -> float:
        mean = without_room(data.minutes, coefficient, followed).mean
        return float(np.abs(mean - mean[0]).max())

    best = drift(room.value, room.followed)
    weights = np.array([one.weight for one in room.likely])
    own = [
        (drift(one.value + one.u, one.followed) - drift(one.value - one.u, one.followed)) / 2
        for one in room.likely
    ]
    away = [drift(one.value, one.followed) - best for one in room.likely]
    squares = np.average(np.square([own, away]), axis=1, weights=weights)
    return float(np.sqrt(squares[0])), float(np.sqrt(squares[1]))


def _coefficient(
    evidence: Evidence, data: Soaked, found: TemperatureCoefficient, reached: dict[str, float]
) -> Figure:
    accuracy = evidence.context.accuracy(VOLTAGE)
    meter = accuracy.temperature_gain * abs(float(data.minutes.mean[0]))
    return make_figure(
        evidence.trial,
        "temperature_coefficient",
        found.value,
        "V/K",
        [
            of(type_a("scatter about the fit", found.u, found.dof), VOLTAGE, "V/K"),
            of(rectangular("lag behind the room", found.half_width_lag), AMBIENT, "V/K"),
            of(rectangular("meter's gain following the room", meter), VOLTAGE, "V/K"),
            of(
                rectangular("meter's offset following the room", accuracy.temperature_offset),
                VOLTAGE,
                "V/K",
            ),
        ],
        reached=reached,
        notes=(
            f"The output follows the room with a lag of about {found.lag_s:.0f} s; the room "
            f"changed by {found.span_k:.2g} K.",
        ),
    )


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw the departure of the output over the hours, and the temperatures beside it."""
    data = soaked(settings, evidence)
    first = float(data.minutes.mean[0])
    begin = float(data.minutes.start_s)
    lines = []
    warm = evidence.points(phase="warm-up")
    if warm:
        lines.append(_line("warm-up", means_of(warm[0], VOLTAGE), begin, first, quantity=VOLTAGE))
    lines.append(_line("soak, one-minute means", data.minutes, begin, first, quantity=VOLTAGE))
    output = Chart(
        trial=evidence.trial,
        title="Soak: departure of the output from its value after warm-up",
        shows=(Shown("drift", "y", mirrored=True),),
        x_label="time after warm-up",
        x_unit="s",
        y_label="voltage.sense, departure",
        y_unit="V",
        lines=tuple(lines),
        marks=(Mark("end of warm-up", "x", 0.0, "guide"),),
        caption=" ".join(
            (
                f"At {settings.voltage:.6g} V and {data.current:.4g} A, line not controlled.",
                *data.minutes.notes,
            )
        ),
    )
    stability = stability_chart(evidence, data.minutes)
    temperatures = tuple(
        _line(
            channel,
            means_of(point, channel),
            begin,
            0.0,
            label=f"{channel}, {phase}",
            quantity=channel,
        )
        for channel in (HEATSINK, AMBIENT)
        if channel in channels_of(settings, evidence.context)
        for phase in ("warm-up", "soak")
        for point in evidence.points(phase=phase)[:1]
    )
    if not temperatures:
        return (output, *stability)
    return (
        output,
        *stability,
        Chart(
            trial=evidence.trial,
            title="Soak: temperatures",
            x_label="time after warm-up",
            x_unit="s",
            y_label="temperature",
            y_unit="°C",
            lines=temperatures,
            marks=(Mark("end of warm-up", "x", 0.0, "guide"),),
            caption="Heatsink and room over the same time.",
        ),
    )


def _line(
    label_or_channel: str,
    means: MinuteMeans,
    begin: float,
    zero: float,
    *,
    label: str = "",
    quantity: str = "",
) -> Line:
    # A point without value keeps a gap from being drawn over.
    at = [index + 1 for index, dt in enumerate(np.diff(means.time)) if dt > GAP * means.period_s]
    return Line(
        label or label_or_channel,
        tuple(float(t) for t in np.insert(means.time, at, np.nan) - begin),
        tuple(float(v) for v in np.insert(means.mean, at, np.nan) - zero),
        style="line",
        quantity=quantity,
    )


GAP = 1.5
"""Means farther apart than one and a half periods have a gap between them."""


TRIAL = Trial(
    name="soak",
    summary="Whether the output holds for hours at constant load.",
    settings=Settings,
    gives=(
        "drift",
        "drift_span",
        "drift_about_mean",
        "drift_rate",
        "temperature_coefficient",
        "drift_corrected",
        "warm_up_time",
        *AVERAGES,
    ),
    needs=(VOLTAGE, "current."),
    procedure=procedure,
    figures=figures,
    charts=charts,
    again=again,
    cannot=cannot,
    lacks=lacks,
)
