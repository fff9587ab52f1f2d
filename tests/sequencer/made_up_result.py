"""A realistic result that was never measured: only for looking at outputs and for their tests."""

import math
from dataclasses import replace

import numpy as np

from sequencer.result import BenchSummary, ChannelRow, InstrumentRow, Result, UnitSummary
from sequencer.results import Chart, Component, Coverage, Event, Figure, Line, Mark, Verdict

SOAK_S = 28_800


def figure(trial, name, value, unit, u, *, dof=14.0, k=2.18, coverage=None, reached=None, notes=()):
    budget = (
        Component("repeats", "t", 0.8 * u, 1.0, 0.8 * u, dof),
        Component("gain", "rectangular", 3e-5 / math.sqrt(3), value, 0.3 * u, math.inf),
        Component("resolution", "rectangular", 2.9e-6, 1.414, 0.1 * u, math.inf),
        Component("thermal voltage", "rectangular", 1.2e-6, 1.0, 0.4 * u, math.inf),
    )
    return Figure(
        trial, name, value, unit, u, dof, k, k * u, reached or {}, coverage, budget, tuple(notes)
    )


STEPS = {"voltage": 30.0, "current_from": 0.0, "current_to": 3.0}
FULL = Coverage("current", 3.0, 3.0, "A")

FIGURES = (
    figure("load_steps", "load_regulation", 3.42e-3, "V", 31e-6, coverage=FULL, reached=STEPS),
    figure("load_steps", "output_resistance", 1.13e-3, "ohm", 12e-6, coverage=FULL, reached=STEPS),
    figure("load_steps", "load_linearity", 88e-6, "V", 21e-6, reached=STEPS),
    figure("load_steps", "thermal_tail", -0.41e-3, "V", 35e-6, reached=STEPS),
    figure("sense_check", "sense_error", 3.21e-3, "V", 0.16e-3, coverage=FULL, reached=STEPS),
    figure("sense_check", "sense_resistance", 1.07e-3, "ohm", 53e-6, reached=STEPS),
    figure("limit_sweep", "limit_current", 3.287, "A", 2.1e-3, reached={"voltage": 30.0}),
    figure("limit_sweep", "knee_current", 3.262, "A", 2.3e-3, reached={"voltage": 30.0}),
    figure("limit_sweep", "knee_onset", 3.18, "A", 4.0e-3, reached={"voltage": 30.0}),
    figure("limit_sweep", "knee_sharpness", 0.975, "1", 1.4e-3, reached={"voltage": 30.0}),
    figure(
        "limit_sweep",
        "short_current",
        3.318,
        "A",
        2.4e-3,
        coverage=Coverage("load_voltage", 1.0, 1.4, "V"),
        reached={"voltage": 30.0, "load_voltage": 1.4},
        notes=("The load can't go below 1.4 V at this current.",),
    ),
    figure(
        "soak",
        "drift",
        36.8e-3,
        "V",
        0.9e-3,
        dof=math.inf,
        k=2.0,
        coverage=Coverage("duration", 28_800.0, 28_800.0, "s"),
        reached={"voltage": 30.0, "current_to": 3.0, "duration": 28_800.0},
    ),
    figure("soak", "drift_span", 41.2e-3, "V", 1.1e-3, dof=math.inf, k=2.0),
    figure("soak", "drift_rate", -2.1e-7, "V/s", 1.4e-7, dof=5.3, k=2.65),
    figure("soak", "temperature_coefficient", -1.9e-3, "V/K", 0.4e-3, dof=8.0, k=2.37),
    figure("soak", "warm_up_time", 1140.0, "s", 17.0),
)


def verdict(
    figure_name, trial, lower, upper, unit, outcome, probability, ratio, why="", remarks=()
):
    return Verdict(
        figure_name,
        trial,
        lower,
        upper,
        unit,
        "guarded",
        outcome,
        probability,
        ratio,
        why,
        tuple(remarks),
        coverage=next((one.coverage for one in FIGURES if one.name == figure_name), None),
    )


VERDICTS = (
    verdict(
        "load_regulation", "load_steps", None, 8e-3, "V", "pass", 1.0, 118.0,
        "The value is 0.00458 V inside the limit, at least U = 6.758e-05 V (k = 2.18).",
    ),
    verdict("output_resistance", "load_steps", None, 5e-3, "ohm", "pass", 1.0, 190.0),
    verdict(
        "sense_error", "sense_check", None, 3e-3, "V", "conditional fail", 0.1, 8.6,
        "The value is 0.00021 V outside the limit, no more than U = 0.000349 V (k = 2.18).",
        ("Look at the sense pair: 15 cm of lead on the wrong side of a connector do as much.",),
    ),
    verdict("limit_current", "limit_sweep", 3.0, 3.6, "A", "pass", 1.0, 65.0),
    verdict("knee_current", "limit_sweep", 3.0, None, "A", "pass", 1.0, 598.0),
    verdict("knee_onset", "limit_sweep", 3.0, None, "A", "conditional pass", 0.97, 3.4),
    verdict(
        "short_current", "limit_sweep", None, 3.9, "A", "not covered", None, None,
        "Promised at a load voltage of 1 V; measured down to 1.4 V.",
    ),
    verdict(
        "drift", "soak", None, 30e-3, "V", "fail", 0.0, 16.7,
        "The value is 0.0068 V outside the limit, more than U = 0.0018 V (k = 2.00).",
    ),
)  # fmt: skip


def load_steps_chart():
    current = (0.0, 0.3, 0.75, 1.5, 2.25, 2.7, 3.0)
    fall = tuple(-1.13e-3 * i - 40e-6 * math.sin(2 * i) for i in current)
    return Chart(
        "load_steps",
        "Load steps",
        "current.shunt",
        "A",
        "change of voltage.sense",
        "V",
        (
            Line("measured, bars are U", current, fall, "points", (68e-6,) * len(current)),
            Line("straight line", (0.0, 3.0), (0.0, -1.13e-3 * 3), "line"),
        ),
        (
            Mark("limit −8 mV", "y", -8e-3, "limit"),
            Mark("limit +8 mV", "y", 8e-3, "limit"),
        ),
        "Change from no load at the sense points, each level between two visits to no load.",
    )


def sense_chart():
    current = (0.0, 0.75, 1.5, 2.25, 3.0)
    return Chart(
        "sense_check",
        "Sense check",
        "current.shunt",
        "A",
        "change of voltage.load beyond voltage.sense",
        "V",
        (
            Line(
                "measured, bars are U",
                current,
                tuple(-1.07e-3 * i for i in current),
                "points",
                (0.35e-3,) * 5,
            ),
        ),
        (Mark("limit −3 mV", "y", -3e-3, "limit"), Mark("limit +3 mV", "y", 3e-3, "limit")),
        "What the load sees beyond what the supply regulates: the slope is a resistance.",
    )


def limit_chart():
    voltage = np.concatenate([np.linspace(30.0, 29.9, 9), np.linspace(29.0, 1.4, 15)])
    current = np.concatenate([np.linspace(0.2, 3.2, 9), 3.262 + (29.0 - voltage[9:]) * 2e-3])
    return Chart(
        "limit_sweep",
        "Limit sweep",
        "current.shunt",
        "A",
        "voltage.sense",
        "V",
        (
            Line("way down", tuple(current), tuple(voltage), "points"),
            Line("way back", tuple(current + 1e-3), tuple(voltage), "points"),
            Line("constant-voltage line", (0.0, 3.4), (30.0, 29.996), "line"),
            Line("constant-current line", (3.26, 3.32), (30.0, 0.0), "line"),
        ),
        (
            Mark("limit current, lower limit 3 A", "x", 3.0, "limit"),
            Mark("limit current, upper limit 3.6 A", "x", 3.6, "limit"),
            Mark("onset 3.180 A", "x", 3.18, "figure"),
            Mark("knee 3.262 A", "x", 3.262, "figure"),
            Mark("half the set voltage", "y", 15.0, "guide"),
        ),
        "The load holds the voltage; the current is what the unit allows.",
    )


def soak_chart(count=SOAK_S):
    rng = np.random.default_rng(7)
    t = np.arange(count, dtype=float)
    slow = 0.03 * (np.exp(-t / 9000.0) - 1.0) + 0.004 * np.sin(t / 4000.0)
    noise = rng.normal(0.0, 0.6e-3, count)
    minute = tuple(t[30::60])
    mean = slow[30::60]
    return Chart(
        "soak",
        "Soak",
        "time since the end of warm-up",
        "s",
        "change of voltage.sense",
        "V",
        (
            Line("each second", tuple(t), tuple(slow + noise), "line"),
            Line(
                "one-minute means, band is U",
                minute,
                tuple(mean),
                "line",
                None,
                tuple(mean - 1.8e-3),
                tuple(mean + 1.8e-3),
            ),
        ),
        (
            Mark("limit −30 mV from start", "y", -30e-3, "limit"),
            Mark("limit +30 mV from start", "y", 30e-3, "limit"),
        ),
        "Departure from the first one-minute mean, at 30 V and 3 A.",
    )


def temperature_chart():
    t = np.arange(0.0, SOAK_S, 10.0)
    return Chart(
        "soak",
        "Temperatures during the soak",
        "time since the end of warm-up",
        "s",
        "temperature",
        "degC",
        (
            Line("temperature.heatsink", tuple(t), tuple(61.0 - 8.0 * np.exp(-t / 4000.0)), "line"),
            Line("temperature.ambient", tuple(t), tuple(22.0 + np.sin(t / 7000.0)), "line"),
        ),
        (Mark("guard 85 °C", "y", 85.0, "guide"),),
    )


EVENTS = (
    Event(0.0, "2026-03-14T09:12:03+00:00", "bench", "note", "All eight instruments answered."),
    Event(62.5, "2026-03-14T09:13:05+00:00", "person", "note", "Output set to 30.004 V."),
    Event(
        1893.0,
        "2026-03-14T09:43:36+00:00",
        "settle",
        "warning",
        "voltage.sense was not steady after 120 s: slope 11 µV/s, asked for 5 µV/s.",
    ),
    Event(30_690.0, "2026-03-14T17:43:33+00:00", "make safe", "note", "Load off; 0.02 V remain."),
)

CAUTIONS = (
    "Mains: the unit works from the mains. Opening it is for licensed people; local codes apply.",
    "Heat: at full load the heatsink and the load get hot enough to burn.",
    "Stored energy: capacitors hold charge after switching off. Measure before you touch.",
)


def made_up_result(**changes):
    result = Result(
        record="runs/w-17-2026-03-14.steadyrail",
        profile="overnight",
        started="2026-03-14T09:12:03+00:00",
        ended="2026-03-14T17:43:40+00:00",
        software={"steadyrail": "0.1.0", "python": "3.11.2", "pyvisa": "1.16.2"},
        unit=UnitSummary(
            "W-17",
            "Linear bench supply of the community repair workshop, hand operated",
            (
                ("Voltage", "30 V"),
                ("Current", "3 A"),
                ("Line", "230 V, 50 Hz"),
                ("Control", "by hand"),
                ("Sense terminals", "yes, up to 0.5 V per lead"),
                ("Warm-up", "30 min"),
            ),
        ),
        bench=BenchSummary(
            "simulated",
            "Repair workshop bench: three voltmeters, a shunt, an electronic load",
            (
                InstrumentRow(
                    "voltmeter_sense",
                    "voltmeter",
                    "TCPIP0::127.0.0.1::40002::SOCKET",
                    "WORKSHOP,VOLTMETER-A,SIM0001,1.0",
                ),
                InstrumentRow(
                    "load",
                    "load",
                    "TCPIP0::127.0.0.1::40006::SOCKET",
                    "WORKSHOP,LOAD-A,SIM0005,1.0",
                ),
                InstrumentRow("person", "person", "TCPIP0::127.0.0.1::40008::SOCKET"),
            ),
            (
                ChannelRow(
                    "voltage.sense",
                    "voltmeter_sense",
                    "40 V",
                    "100 ms",
                    "gain 0.003 %, offset 0.4 mV, noise 20 µV, resolution 10 µV",
                ),
                ChannelRow(
                    "current.shunt",
                    "voltmeter_shunt",
                    "100 mV",
                    "100 ms",
                    "10 mΩ shunt ±0.1 %, gain 0.004 %, noise 0.5 µV",
                ),
                ChannelRow("temperature.heatsink", "thermometer", "", "", "offset 0.5 K"),
            ),
        ),
        rule="guarded",
        outcome="fail: 1 of 8 limits not kept (1 fail, 1 conditional fail, 1 not covered, 5 pass)",
        exit=1,
        figures=FIGURES,
        verdicts=VERDICTS,
        charts=(
            load_steps_chart(),
            sense_chart(),
            limit_chart(),
            soak_chart(),
            temperature_chart(),
        ),
        events=EVENTS,
        cautions=CAUTIONS,
        notes=("The limit knob was turned fully up for the load steps.",),
    )
    return replace(result, **changes)
