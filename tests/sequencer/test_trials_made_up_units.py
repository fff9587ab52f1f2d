"""Trials on made-up units, each written down in a few lines with a truth in closed form."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sequencer.documents.limits import Limit
from sequencer.documents.load import load_profile
from sequencer.errors import FigureError, TrialStopped
from sequencer.numerics.line_known import line_with_covariance
from sequencer.numerics.pairs import bracketed_differences
from sequencer.record.read import Step
from sequencer.requests import (
    Applied,
    Apply,
    LoadState,
    Note,
    Noted,
    Procedure,
    Read,
    Readings,
    Reply,
    Request,
    Settle,
    Settled,
    SupplyState,
)
from sequencer.results import Figure
from sequencer.trials import heat, load_steps, output_off, sense_check, set_points, soak
from sequencer.trials.brackets import level_means
from sequencer.trials.readiness import cold_trials, marked_cold, not_warmed_up
from sequencer.trials.trial import VOLTAGE, Context, Evidence, Trial
from sequencer.uncertainty.combine import normal
from sequencer.uncertainty.figure import make_figure

NOISE_V = 15e-6
LEADS_OHM = 0.04
TAU_S = 1.03


class Unit:
    """A unit as functions of its load, its switch and the time since either changed."""

    def __init__(self, value: Callable[["Unit", str, float], float]) -> None:
        self.value = value
        self.now = self.changed = 0.0
        self.load = 0.0
        self.setting = 0.0
        self.on = True
        self.random = np.random.default_rng(11)

    def answer(self, request: Request) -> Reply:
        match request:
            case Apply(state=LoadState() as state):
                self.load, self.changed = state.level if state.on else 0.0, self.now
                return Applied(self.now, {})
            case Apply(state=SupplyState() as state):
                self.on = self.on if state.output is None else state.output
                self.setting = self.setting if state.voltage is None else state.voltage
                self.changed = self.now
                return Applied(self.now, {})
            case Settle():
                self.now += request.window_s
                still = dict.fromkeys(request.tolerance, 0.0)
                return Settled(self.now, True, request.window_s, still, still)
            case Read():
                times = self.now + request.period_s * np.arange(request.count, dtype=float)
                self.now = float(times[-1]) + request.period_s
                values = {
                    channel: np.array([self.value(self, channel, t - self.changed) for t in times])
                    + NOISE_V * self.random.standard_normal(times.size)
                    for channel in request.channels
                }
                at = dict.fromkeys(request.channels, times)
                return Readings(asked=at, answered=at, value=values)
            case Note():
                return Noted(self.now)
        raise TypeError(request)


def context(**unit: object) -> Context:
    documents = load_profile("acceptance")
    changed = documents.unit.model_copy(
        update={"unit": documents.unit.unit.model_copy(update=dict(unit))}
    )
    return Context(changed, documents.bench)


def evidence(trial: Trial[Any], settings: Any, unit: Unit, where: Context) -> Evidence:
    procedure: Procedure = trial.procedure(settings, where)
    steps: list[Step] = []
    reply: Reply | None = None
    try:
        while True:
            request = procedure.send(reply) if reply is not None else next(procedure)
            reply = unit.answer(request)
            steps.append(Step(seq=len(steps), request=request, reply=reply))
    except StopIteration:
        return Evidence(trial.name, where, tuple(steps))


def found(trial: Trial[Any], settings: Any, unit: Unit, where: Context) -> dict[str, Figure]:
    at = evidence(trial, settings, unit, where)
    figures = trial.figures(settings, at)
    names = {one.name for one in figures} | set(trial.cannot(settings, at))
    assert names <= set(trial.gives)
    # Other meters of the current, where the bench has them, are compared in load_steps.
    assert trial is load_steps.TRIAL or names == set(trial.gives)
    assert trial.charts(settings, at, figures)
    return {one.name: one for one in figures}


def within(figure: Figure, truth: float, least: float = 0.0) -> None:
    """The truth lies within U, and U is no wider than makes the check worth something."""
    assert abs(figure.value - truth) < figure.expanded, (figure.name, figure.value, truth)
    assert figure.expanded < max(0.2 * abs(truth), least), (figure.name, figure.expanded)


def wired(follows: float, own_ohm: float = 1e-3) -> Callable[[Unit, str, float], float]:
    """A unit that makes up for a part of the leads' drop; 0.2 mΩ lie beyond the sense points."""

    def value(unit: Unit, channel: str, _: float) -> float:
        drop = LEADS_OHM * unit.load
        sense = unit.setting - own_ohm * unit.load - (1 - follows) * drop
        return {
            "voltage.sense": sense,
            "voltage.load": sense - 2e-4 * unit.load,
            "voltage.terminals": sense + drop,
            "current.shunt": unit.load,
        }[channel]

    return value


def test_a_sense_check_says_length_drop_and_how_far_the_unit_follows() -> None:
    where = context()
    settings = sense_check.Settings(voltage="30 V", current="3 A", cross_section="0.75 mm²")
    figures = found(sense_check.TRIAL, settings, Unit(wired(1.0)), where)
    within(figures["sense_resistance"], 2e-4)
    # IEC 60028: 1/58 Ω·mm²/m.
    within(figures["sense_length"], 2e-4 * 0.75 * 58)
    within(figures["lead_drop"], 0.12)
    within(figures["sense_following"], 1 - 1e-3 / LEADS_OHM)
    assert "within the 500 mV" in figures["lead_drop"].notes[0]


def test_a_stated_length_of_wire_comes_back() -> None:
    # ASTM B258: 14 AWG has 8.286 Ω/km and 2.081 mm²; 2.5 mΩ are 0.302 m of it.
    area = math.pi / 4 * (0.127 * 92 ** ((36 - 14) / 39)) ** 2
    where = context()
    settings = sense_check.Settings(voltage="30 V", current="3 A", cross_section=f"{area:.4f} mm²")
    unit = Unit(
        lambda u, c, t: wired(1.0)(u, c, t) - (2.3e-3 * u.load if c == "voltage.load" else 0)
    )
    length = found(sense_check.TRIAL, settings, unit, where)["sense_length"]
    assert length.value == pytest.approx(2.5e-3 / 8.286e-3, rel=0.01)


def test_a_unit_that_does_not_follow_its_sense_leads_is_stopped_at_a_small_current() -> None:
    settings = sense_check.Settings(voltage="30 V", current="3 A")
    with pytest.raises(TrialStopped, match="does not follow its sense leads"):
        evidence(sense_check.TRIAL, settings, Unit(wired(0.0)), context())


def test_a_lead_that_comes_off_later_leaves_no_sense_error() -> None:
    """Both places fall alike then: a small difference would pass for good wiring."""
    settings = sense_check.Settings(voltage="30 V", current="3 A")
    unit = Unit(lambda u, c, t: wired(1.0 if u.load < 0.2 else 0.0)(u, c, t))
    where = context()
    at = evidence(sense_check.TRIAL, settings, unit, where)
    names = {one.name for one in sense_check.figures(settings, at)}
    assert "sense_error" not in names
    assert "does not follow" in sense_check.cannot(settings, at)["sense_error"]


def test_where_the_leads_lose_too_little_it_is_said_that_nothing_can_be_told() -> None:
    where = context()
    settings = sense_check.Settings(voltage="30 V", current="3 A")

    def short(unit: Unit, channel: str, _: float) -> float:
        drop = 1e-3 * unit.load if channel == "voltage.terminals" else 0.0
        return unit.load if channel == "current.shunt" else 30 - 1e-3 * unit.load + drop

    at = evidence(sense_check.TRIAL, settings, Unit(short), where)
    figures = {one.name: one for one in sense_check.figures(settings, at)}
    assert "sense_following" not in figures
    assert "can't be told" in figures["sense_error"].notes[0]


@pytest.mark.parametrize("tail_v", [-2e-3, 1.5e-3])
def test_a_thermal_tail_is_kept_apart_from_the_step(tail_v: float) -> None:
    def warms(unit: Unit, channel: str, since: float) -> float:
        if channel == "current.shunt":
            return unit.load
        slow = tail_v * (1 - math.exp(-max(since - 10, 0) / 200)) if unit.load > 2.9 else 0.0
        return unit.setting - 1e-3 * unit.load + slow

    where = context()
    settings = load_steps.Settings(voltage="30 V", current="3 A")
    figures = found(load_steps.TRIAL, settings, Unit(warms), where)
    # It begins 10 s after the step; the last mean stands 297.5 s after the first reading.
    truth = tail_v * (1 - math.exp(-(1.25 + 297.5 - 10) / 200))
    assert abs(figures["thermal_tail"].value - truth) < figures["thermal_tail"].expanded
    within(figures["load_change"], -3e-3)
    within(figures["load_change_ratio"], -1e-4)
    assert figures["load_change"].value == pytest.approx(-figures["load_regulation"].value)


def test_a_units_wander_is_no_noise_that_neighbouring_levels_share() -> None:
    # Of a random walk the visits to no load follow what is slow: the slope between levels is known
    # better than from as much noise of the readings (`test_numerics_bracket_scatter.py`).
    walk = np.cumsum(np.random.default_rng(5).standard_normal(4000)) * 10e-6

    def wanders(unit: Unit, channel: str, _: float) -> float:
        if channel.startswith("current"):
            return unit.load
        return unit.setting - 1e-3 * unit.load + float(walk[int(unit.now)])

    settings = load_steps.Settings(voltage="30 V", current="3 A", tail="60 s")
    where = context()
    at = evidence(load_steps.TRIAL, settings, Unit(wanders), where)
    points = at.points(part="round")
    means = level_means(points, VOLTAGE, where.current)
    as_noise = bracketed_differences(
        [point.time(VOLTAGE) for point in points],
        [float(point.tag["fraction"]) for point in points],
        [point.mean(VOLTAGE) for point in points],
        0.0,
    )
    line = line_with_covariance(means.di, means.dv, as_noise.covariance)
    assert means.dv == pytest.approx(as_noise.differences)
    assert means.line.u_slope < 0.95 * line.u_slope
    figures = {one.name: one for one in load_steps.figures(settings, at)}
    within(figures["output_resistance"], 1e-3)


def falling(unit: Unit, _: str, since: float) -> float:
    if unit.on:
        return unit.setting
    # A hand switches some time before the first reading; 5 mV stay.
    return 5e-3 + (unit.setting - 5e-3) * math.exp(-(since + 0.9) / TAU_S)


def test_an_output_switched_off_falls_as_its_capacitor_says() -> None:
    where = context()
    settings = output_off.Settings(voltage="30 V", safe_voltage="1 V", after="2 s")
    figures = found(output_off.TRIAL, settings, Unit(falling), where)
    within(figures["discharge_time_constant"], TAU_S)
    within(figures["time_to_safe_voltage"], TAU_S * math.log(29.995 / 0.995))
    within(figures["residual_voltage"], 5e-3 + 29.995 * math.exp(-2 / TAU_S))


def test_to_one_per_cent_takes_4_605_time_constants() -> None:
    # RC discharge, any textbook: to 1 % after 4.605 RC.
    unit = Unit(lambda u, _, t: u.setting * (1 if u.on else math.exp(-t / TAU_S)))
    settings = output_off.Settings(voltage="30 V", safe_voltage="0.3 V")
    figures = found(output_off.TRIAL, settings, unit, context())
    assert figures["time_to_safe_voltage"].value == pytest.approx(4.605 * TAU_S, rel=2e-4)


def test_an_output_that_is_gone_at_once_is_said_to_be() -> None:
    settings = output_off.Settings(voltage="30 V")
    at = evidence(output_off.TRIAL, settings, Unit(lambda u, *_: 30.0 if u.on else 1e-3), context())
    with pytest.raises(Exception, match="fell faster than it was read"):
        output_off.figures(settings, at)


def test_set_points_find_gain_offset_and_the_worst_position() -> None:
    where = context(control="remote")
    settings = set_points.Settings(voltage_to="30 V")
    unit = Unit(lambda u, *_: 4e-3 + (1 - 3e-4) * u.setting + (2e-3 if u.setting == 15 else 0))
    figures = found(set_points.TRIAL, settings, unit, where)
    gain, offset = figures["setting_gain_error"], figures["setting_offset"]
    # Least squares by hand: a bump at the middle of eleven even positions lifts the line by b/11.
    assert abs(gain.value + 3e-4) < gain.expanded
    assert abs(offset.value - 4e-3 - 2e-3 / 11) < offset.expanded
    assert abs(figures["setting_error"].value - 5e-3) < figures["setting_error"].expanded
    assert figures["setting_linearity"].value == pytest.approx(2e-3 * 10 / 11, abs=3e-5)


def test_steady_drift_of_meter_and_reference_is_no_scatter_of_set_points() -> None:
    # The mean of both visits is that of one moment for every position: neither drift is in it.
    where = context(control="remote")
    settings = set_points.Settings(voltage_to="30 V")

    def linearity(of_meter_v_per_s: float, of_reference_per_s: float) -> Figure:
        unit = Unit(
            lambda u, *_: u.setting * (1 + of_reference_per_s * u.now) + of_meter_v_per_s * u.now
        )
        return found(set_points.TRIAL, settings, unit, where)["setting_linearity"]

    still = linearity(0.0, 0.0)
    moving = linearity(1e-5, 1e-6)  # by the end of the trial 0.7 mV and 2 mV at 30 V
    assert moving.value == pytest.approx(still.value, abs=still.u)
    assert moving.expanded == pytest.approx(still.expanded, rel=0.2)


def test_set_points_refuse_a_unit_that_is_set_by_hand() -> None:
    settings = set_points.Settings(voltage_to="30 V")
    with pytest.raises(TrialStopped, match="remote control"):
        evidence(set_points.TRIAL, settings, Unit(lambda u, *_: u.setting), context())


def test_heat_gives_rise_time_constant_and_power() -> None:
    def warms(unit: Unit, channel: str, since: float) -> float:
        rise = 12.6 * (1 - math.exp(-since / 700)) if unit.load else 0.0
        return {
            "voltage.sense": unit.setting,
            "current.shunt": unit.load,
            "temperature.heatsink": 22.0 + rise,
            "temperature.ambient": 22.0,
        }[channel]

    where = context()
    settings = heat.Settings(voltage="30 V", current="3 A")
    figures = found(heat.TRIAL, settings, Unit(warms), where)
    within(figures["heatsink_rise"], 12.6)
    within(figures["heatsink_time_constant"], 700.0)
    within(figures["dissipation"], (42.0 - 30.0) * 3.0, least=15.0)
    # 4.75 V of 12 V may be the line's; 1/P at the 4.55 % of the least powers is 0.19 K/W above.
    within(
        figures["heatsink_rise_per_watt"], 12.6 / 36.0, least=12.6 / (36.0 - 0.909 * 14.24) - 0.35
    )


def test_a_rise_that_was_not_seen_to_its_end_gives_no_balance() -> None:
    def warms(unit: Unit, channel: str, since: float) -> float:
        rise = 12.6 * (1 - math.exp(-since / 7000)) if unit.load else 0.0
        return {"temperature.heatsink": 22 + rise, "temperature.ambient": 22.0}.get(
            channel, unit.load if channel.startswith("current") else unit.setting
        )

    settings = heat.Settings(voltage="30 V", current="3 A")
    at = evidence(heat.TRIAL, settings, Unit(warms), context())
    assert {one.name for one in heat.figures(settings, at)} == {"dissipation"}
    assert "of the way" in heat.cannot(settings, at)["heatsink_rise"]
    assert heat.charts(settings, at, ()) == ()


def test_a_profile_that_does_not_warm_the_unit_up_says_which_trials_meet_it_cold() -> None:
    where = context()
    steps = load_steps.Settings(voltage="30 V", current="3 A")
    night = soak.Settings(voltage="30 V", current="3 A", duration="8 h")
    wires = sense_check.Settings(voltage="30 V", current="3 A")
    first = cold_trials([("sense_check", wires), ("load_steps", steps), ("soak", night)], where)
    assert first == ("load_steps",)
    said = not_warmed_up(first, where)
    assert "Not warmed up" in said
    assert "30 min" in said
    assert "load steps" in said
    assert cold_trials([("soak", night), ("load_steps", steps)], where) == ()
    assert not_warmed_up((), where) == ""
    short = heat.Settings(voltage="30 V", current="3 A", duration="5 min")
    assert cold_trials([("heat", short), ("load_steps", steps)], where) == ("load_steps",)
    figures = [
        make_figure(name, "drift", 1.0, "V", [normal("noise", 0.1)])
        for name in ("load_steps", "soak")
    ]
    noted = [one.notes for one in marked_cold(figures, first, where)]
    assert noted == [
        ("Measured without the warm-up of 30 min that the unit document asks for.",),
        (),
    ]


def with_limits(where: Context, *limits: Limit) -> Context:
    return replace(where, unit=where.unit.model_copy(update={"limits": limits}))


def promise(figure: str, **stated: str) -> Limit:
    known = {"definition": "from start"} if figure == "drift" else {}
    return Limit(figure=figure, at_most="1 V", condition=stated, **known)


def test_a_promise_to_less_current_is_measured_over_that_part_of_the_levels() -> None:
    def bends(unit: Unit, channel: str, _: float) -> float:
        drop = 1e-3 * unit.load + 2e-3 * (unit.load / 3.0) ** 4
        return unit.load if channel.startswith("current.") else unit.setting - drop

    promised = [
        promise("load_regulation", current_to="1.5 A"),
        promise("load_linearity", current_to="1.5 A"),
        promise("load_change", current_to="1 A"),  # no level stands there
        promise("load_change", current_to="3 A"),
    ]
    where = with_limits(context(), *promised)
    settings = load_steps.Settings(voltage="30 V", current="3 A", tail="60 s")
    at = evidence(load_steps.TRIAL, settings, Unit(bends), where)
    figures = {one.name: one for one in load_steps.figures(settings, at)}
    whole = figures["load_regulation"]
    assert whole.value == pytest.approx(5e-3, abs=whole.expanded)
    (half,) = (one for one in whole.points if one.reached["current_to"] > 1.4)
    assert half.reached["current_to"] == pytest.approx(1.5, rel=1e-3)
    assert half.value == pytest.approx(1.5e-3 + 0.125e-3, abs=half.expanded)
    (change,) = (p for p in figures["load_change"].points if p.reached["current_to"] > 1.4)
    assert change.value == pytest.approx(-half.value, abs=half.expanded)
    assert all(one.points_by == "current_to" for one in figures.values() if one.points)
    assert {one.reached["current_to"] > 2.9 for one in whole.points} == {False}
    assert figures["load_linearity"].value > 5 * figures["load_linearity"].points[-1].value


def test_a_promise_for_less_time_is_the_drift_of_the_soaks_beginning() -> None:
    def settles(unit: Unit, channel: str, since: float) -> float:
        if channel.startswith("current."):
            return unit.load
        if channel.startswith("temperature."):
            return 25.0
        return unit.setting - 20e-3 * (1.0 - math.exp(-unit.now / 7200.0)) - 1e-7 * since

    where = with_limits(context(), promise("drift", duration="1 h"))
    long, short = (
        soak.Settings(
            voltage="30 V", current="3 A", warm_up="10 min", duration=f"{h} h", period="5 s"
        )
        for h in (3, 1)
    )
    found_long, found_short = (
        {
            one.name: one
            for one in soak.figures(one, evidence(soak.TRIAL, one, Unit(settles), where))
        }
        for one in (long, short)
    )
    for name in soak.DRIFTS:
        (hour,) = found_long[name].points
        assert (found_long[name].points_by, found_short[name].points) == ("duration", ())
        # The same readings, the same seed: the same figure in every digit.
        assert (hour.value, hour.u, hour.expanded) == pytest.approx(
            (found_short[name].value, found_short[name].u, found_short[name].expanded), rel=1e-9
        )
    assert found_long["drift"].value != pytest.approx(found_short["drift"].value, rel=0.05)


def of_a_soak(volts: Callable[[Unit, float], float], **settings: str) -> tuple[Any, Evidence]:
    def value(unit: Unit, channel: str, since: float) -> float:
        kinds = {"current": unit.load, "temperature": 25.0}
        return kinds.get(channel.partition(".")[0], volts(unit, since))

    given = {"warm_up": "10 min", "duration": "20 min", "period": "5 s", **settings}
    soaking = soak.Settings(voltage="30 V", current="3 A", **given)
    return soaking, evidence(soak.TRIAL, soaking, Unit(value), context())


def test_a_unit_that_does_not_deliver_when_warm_is_not_soaked() -> None:
    soaking, at = of_a_soak(lambda unit, _: 0.5 if unit.load else unit.setting)
    assert at.points(phase="warm-up")
    assert not at.points(phase="soak")
    notes = [step.request for step in at.steps if isinstance(step.request, Note)]
    assert [note.severity for note in notes] == ["warning"]
    assert "the unit does not deliver this current" in notes[0].text
    with pytest.raises(FigureError, match="At 3 A the output stood at 500 mV"):
        soak.figures(soaking, at)


def test_a_unit_that_dies_in_its_soak_has_drifted() -> None:
    soaking, at = of_a_soak(lambda unit, since: 0.5 if since > 1200 else unit.setting)
    figures = {one.name: one for one in soak.figures(soaking, at)}
    assert figures["drift"].value == pytest.approx(29.5, abs=0.1)
    assert figures["drift"].reached["current_to"] == pytest.approx(3.0, rel=1e-3)
    assert "fell to 500 mV during the soak" in soak.cannot(soaking, at)["output"]


def test_a_last_period_begun_makes_no_other_duration() -> None:
    for duration in ("8 min", "10 min"):
        _, at = of_a_soak(
            lambda unit, since: unit.setting - 1e-6 * since, duration=duration, period="45 s"
        )
        soaking = soak.Settings(
            voltage="30 V", current="3 A", warm_up="10 min", duration=duration, period="45 s"
        )
        reached = soak.figures(soaking, at)[0].reached["duration"]
        assert reached == pytest.approx(soaking.duration, abs=1.0)


@pytest.mark.parametrize(("volts", "said"), [(30.0, False), (30.2, False), (30.6, True)])
def test_an_output_that_does_not_stand_where_it_was_set_is_told(volts: float, said: bool) -> None:
    def value(unit: Unit, channel: str, _: float) -> float:
        return unit.load if channel.startswith("current.") else volts - 1e-3 * unit.load

    settings = load_steps.Settings(voltage="30 V", current="3 A", tail="60 s")
    at = evidence(load_steps.TRIAL, settings, Unit(value), context())
    reasons = load_steps.cannot(settings, at)
    assert ("set_voltage" in reasons) is said
    assert not said or "stood at 30.6 V, not at the 30 V" in reasons["set_voltage"]


def test_a_promised_part_that_can_not_be_told_costs_the_whole_nothing() -> None:
    soaking, at = of_a_soak(lambda unit, since: unit.setting - 1e-6 * since)
    for duration in ("30 s", "1 min", "10 min"):
        where = with_limits(at.context, promise("drift", duration=duration))
        figures = {f.name: f for f in soak.figures(soaking, replace(at, context=where))}
        assert len(figures["drift"].points) == (duration == "10 min")
        assert figures["drift"].value > 1e-3


def test_a_promised_part_is_of_the_current_that_flowed_in_it() -> None:
    def value(unit: Unit, channel: str, since: float) -> float:
        dead = since > 1200
        kinds = {"current": 0.0 if dead else unit.load, "temperature": 25.0}
        return kinds.get(channel.partition(".")[0], 0.0 if dead else unit.setting - 1e-6 * since)

    where = with_limits(context(), promise("drift", duration="5 min"))
    soaking = soak.Settings(
        voltage="30 V", current="3 A", warm_up="10 min", duration="20 min", period="5 s"
    )
    figures = {
        f.name: f for f in soak.figures(soaking, evidence(soak.TRIAL, soaking, Unit(value), where))
    }
    (part,) = figures["drift"].points
    assert part.reached["current_to"] == pytest.approx(3.0, rel=1e-3)
    assert part.value == pytest.approx(240e-6, abs=part.expanded)  # between one-minute means
    assert figures["drift"].value > 20.0


@pytest.mark.parametrize(
    ("asked", "given"),
    [
        ({}, {"time_to_safe_voltage", "residual_voltage"}),
        ({"after": "20 s"}, {"time_to_safe_voltage"}),
        ({"duration": "2 s", "after": "1 s"}, {"residual_voltage"}),  # 3.5 s to 1 V
        ({"period": "30 s"}, {"residual_voltage"}),  # eight readings, 340 s to 1 V
    ],
)
def test_of_a_fall_nothing_is_given_that_was_not_seen(
    asked: dict[str, str], given: set[str]
) -> None:
    slow = 100.0 if "period" in asked else TAU_S

    def falling(unit: Unit, channel: str, since: float) -> float:
        del channel
        return unit.setting * (1.0 if unit.on else math.exp(-since / slow))

    settings = output_off.Settings(voltage="30 V", **asked)
    at = evidence(output_off.TRIAL, settings, Unit(falling), context())
    names = {one.name for one in output_off.figures(settings, at)} - {"discharge_time_constant"}
    reasons = output_off.cannot(settings, at)
    assert names == given
    assert names | set(reasons) == {"time_to_safe_voltage", "residual_voltage"}
    assert all("Read longer." in why for why in reasons.values())


@pytest.mark.parametrize("left", [0.0, 1.5, 2.9])
def test_a_load_that_went_away_is_no_full_load_though_the_output_held(left: float) -> None:
    def value(unit: Unit, channel: str, since: float) -> float:
        away = since > 700  # the warm-up takes 600 s
        kinds = {"current": left if away else unit.load, "temperature": 25.0}
        return kinds.get(channel.partition(".")[0], unit.setting - 1e-6 * since)

    soaking = soak.Settings(
        voltage="30 V", current="3 A", warm_up="10 min", duration="20 min", period="5 s"
    )
    drift = soak.figures(soaking, evidence(soak.TRIAL, soaking, Unit(value), context()))[0]
    assert drift.reached["current_to"] < 0.995 * 3.0


def test_an_output_that_stays_above_its_safe_voltage_is_told() -> None:
    unit = Unit(
        lambda u, _, t: u.setting if u.on else 2.0 + (u.setting - 2.0) * math.exp(-t / TAU_S)
    )
    settings = output_off.Settings(voltage="30 V", safe_voltage="1 V")
    at = evidence(output_off.TRIAL, settings, unit, context())
    assert "time_to_safe_voltage" not in {one.name for one in output_off.figures(settings, at)}
    assert "it ends at 2 V" in output_off.cannot(settings, at)["time_to_safe_voltage"]
