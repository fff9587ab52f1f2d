"""Three documents together: trials against ratings, channels and who operates the unit."""

import tomllib
from pathlib import Path

import pytest
from documents_made_up import NEEDS, SETTINGS, StepSettings

from sequencer.documents.check import check_files
from sequencer.documents.find import Kind, shipped
from sequencer.documents.load import Documents, documents_from
from sequencer.documents.source import Source
from sequencer.documents.whole import check_whole, settings_of, whole_mistakes
from sequencer.errors import DocumentError

TRIAL = """
[profile]
name = "mine"
unit = "w-17"
bench = "simulated"
{guards}
[[trials]]
trial = "{trial}"
{settings}
"""


def _documents(
    settings: str = 'voltage = "30 V"\ncurrent = "3 A"',
    *,
    trial: str = "steps",
    guards: str = "",
    unit: tuple[str, str] = ("", ""),
    bench: tuple[str, str] = ("", ""),
) -> Documents:
    """Return the shipped unit and bench, each with one text replaced, and a small profile."""
    profile = TRIAL.format(guards=guards, trial=trial, settings=settings)
    return documents_from(
        _shipped("unit", "w-17", *unit),
        _shipped("bench", "simulated", *bench),
        Source("mine.toml", profile),
    )


def _shipped(kind: Kind, name: str, old: str, new: str) -> Source:
    path = shipped(kind)[name]
    text = path.read_text("utf-8")
    assert old in text
    return Source(path.name, text.replace(old, new, 1) if old else text)


def _lines(documents: Documents) -> list[str]:
    found = whole_mistakes(documents, settings=SETTINGS, needs=NEEDS)
    return [str(mistake) for mistake in found]


def test_a_profile_that_fits_has_no_mistakes_and_gives_its_settings() -> None:
    documents = _documents()
    check_whole(documents, settings=SETTINGS, needs=NEEDS)
    settings = settings_of(documents.profile.trials[0], StepSettings)
    assert (settings.voltage, settings.current, settings.period) == (30.0, 3.0, 0.25)


@pytest.mark.parametrize(
    ("settings", "line"),
    [
        (
            'voltage = "31 V"\ncurrent = "3 A"',
            '.voltage: found "31 V", expected at most the unit\'s rated 30 V',
        ),
        (
            'voltage = "30 V"\ncurrent = "3.1 A"',
            '.current: found "3.1 A", expected at most the unit\'s rated 3 A',
        ),
        (
            'voltage = "3 A"\ncurrent = "3 A"',
            (
                '.voltage: found "3 A" (a current), expected a positive voltage as text with its '
                'unit, such as "30 mV"'
            ),
        ),
        ('voltage = "30 V"', ".current: found nothing, expected a value: this key is required"),
        (
            'voltage = "30 V"\ncurrent = "3 A"\nperiode = "1 s"',
            (
                ".periode: found an unknown key, expected a key of this table (did you mean "
                '"period"?): channels, current, fractions, lowest_voltage, period, voltage'
            ),
        ),
        (
            'voltage = "30 V"\ncurrent = "3 A"\nlowest_voltage = "0.5 V"',
            '.lowest_voltage: found "500 mV", expected at least 800 mV, where the load still works',
        ),
        (
            'voltage = "30 V"\ncurrent = "3 A"\nfractions = ["50 %", "110 %"]',
            '.fractions[1]: found "110 %", expected 0 % to 100 % of the trial\'s current',
        ),
        (
            'voltage = "30 V"\ncurrent = "3 A"\nfractions = ["-10 %"]',
            '.fractions[0]: found "−10 %", expected 0 % to 100 % of the trial\'s current',
        ),
        (
            'voltage = "1 V"\ncurrent = "3 A"\nlowest_voltage = "2 V"',
            '.lowest_voltage: found "2 V", expected less than the trial\'s voltage',
        ),
        (
            'voltage = "30 V"\ncurrent = "3 A"\nchannels = ["voltage.sense", "voltage.pins"]',
            (
                '.channels[1]: found "voltage.pins", expected a channel of the bench (did you mean '
                '"voltage.sense"?): voltage.sense, voltage.terminals, voltage.load or 4 more'
            ),
        ),
    ],
)
def test_a_setting_that_does_not_fit_is_one_line(settings: str, line: str) -> None:
    assert _lines(_documents(settings)) == [f"mine.toml: trials[0] (steps){line}"]


@pytest.mark.parametrize(
    ("bench", "line"),
    [
        (('voltage = "60 V"', 'voltage = "20 V"'), '.voltage: found "30 V", expected at most the'),
        (('current = "5 A"', 'current = "2 A"'), '.current: found "3 A", expected at most the'),
        (('power = "150 W"', 'power = "80 W"'), ".current: found 90 W at that voltage, expected"),
    ],
)
def test_a_trial_above_the_loads_rating_is_refused(bench: tuple[str, str], line: str) -> None:
    (found,) = _lines(_documents(bench=bench))
    assert found.startswith(f"mine.toml: trials[0] (steps){line}")
    assert "load's rated" in found


@pytest.mark.parametrize(
    ("bench", "line"),
    [
        (('current = "5 A"', 'current = "3.8 A"'), "up to 3.9 A, expected at most the load's"),
        (('power = "150 W"', 'power = "100 W"'), "up to 108 W, expected at most the load's"),
    ],
)
def test_a_sweep_into_the_limit_must_stay_within_the_loads_rating(
    bench: tuple[str, str], line: str
) -> None:
    """The unit promises at most 3.6 A for its limit, 3.9 A into a short: 108 W at 30 V."""
    (found,) = _lines(_documents('voltage = "30 V"', trial="sweep", bench=bench))
    assert line in found
    assert _lines(_documents('voltage = "30 V"', trial="sweep")) == []


def test_a_setting_that_would_trip_a_guard_at_once_is_refused() -> None:
    guards = '[guards."voltage.sense"]\nat_most = "30 V"\n[guards."current.load"]\nat_most = "2 A"'
    assert [line.partition("expected ")[2] for line in _lines(_documents(guards=guards))] == [
        "less than the guard of voltage.sense allows (30 V)",
        "less than the guard of current.load allows (2 A)",
    ]


def test_an_unknown_trial_is_named_with_the_known_ones() -> None:
    (line,) = _lines(_documents(trial="stepps"))
    assert line == (
        'mine.toml: trials[0] (stepps).trial: found "stepps", expected a known trial (did you '
        'mean "steps"?): steps, sweep'
    )


def test_a_channel_that_a_trial_needs_must_be_there() -> None:
    needs = {"steps": ("voltage.far", "power.")}
    found = whole_mistakes(_documents(), settings=SETTINGS, needs=needs)
    assert [mistake.found for mistake in found] == [
        "a trial that needs the channel voltage.far",
        "a trial that needs the channel power.…",
    ]


def test_a_channel_that_a_trial_needs_must_state_its_accuracy() -> None:
    statement = 'accuracy = { offset = "0.5 K", noise = "0.02 K" }'
    documents = _documents(bench=(statement, ""))
    needs = {"steps": ("temperature.heatsink",)}
    (mistake,) = whole_mistakes(documents, settings=SETTINGS, needs=needs)
    assert mistake.expected == '[channels."temperature.heatsink".accuracy] in simulated.toml'


def test_a_guard_needs_a_channel_of_the_bench() -> None:
    guards = '[guards."temperature.pcb"]\nat_most = "60 °C"'
    (line,) = _lines(_documents(guards=guards))
    assert line.startswith('mine.toml: guards."temperature.pcb": found "temperature.pcb", ')


def test_a_unit_under_remote_control_needs_a_supply_on_the_bench() -> None:
    (line,) = _lines(_documents(unit=('control = "hand"', 'control = "remote"')))
    assert line.startswith("simulated.toml: instruments: found no instrument that sets the unit")


def test_a_unit_operated_by_hand_needs_a_person() -> None:
    path = shipped("bench")["simulated"]
    text = path.read_text("utf-8").replace('operator = "instrument"', 'operator = "none"')
    text = text.replace('make_safe = ["load", "supply"]', 'make_safe = ["load"]')
    documents = _documents()
    nobody = documents_from(
        documents.unit_source, Source("table.toml", text), documents.profile_source
    )
    assert _lines(nobody) == [
        (
            'table.toml: bench.operator: found "none", expected "terminal" or '
            '"instrument": the unit '
            "W-17 is operated by hand"
        )
    ]


def test_a_limit_whose_figure_no_trial_gives_is_no_mistake() -> None:
    assert any(limit.figure == "drift" for limit in _documents().unit.limits)
    assert _lines(_documents()) == []


def test_all_mistakes_are_raised_at_once() -> None:
    documents = _documents(
        'voltage = "31 V"\ncurrent = "4 A"', guards='[guards."voltage.x"]\nat_most = "1 V"'
    )
    with pytest.raises(DocumentError) as caught:
        check_whole(documents, settings=SETTINGS, needs=NEEDS)
    assert len(caught.value.mistakes) == 3


def test_check_lists_the_mistakes_of_several_files_each_once(tmp_path: Path) -> None:
    unit = tmp_path / "unit.toml"
    text = shipped("unit")["w-17"].read_text("utf-8")
    unit.write_text(text.replace('voltage = "30 V"', 'voltage = "-30 V"', 1), "utf-8")
    profile = tmp_path / "mine.toml"
    body = TRIAL.format(guards="", trial="steps", settings='voltage = "31 V"\ncurrent = "3 A"')
    assert tomllib.loads(body)
    profile.write_text(body.replace("w-17", "unit.toml"), "utf-8")
    names: list[str | Path] = [unit, profile, "w-17", "nope"]
    lines = [str(m) for m in check_files(names, settings=SETTINGS, needs=NEEDS)]
    assert [line.split(": ")[1] for line in lines] == ["ratings.voltage", "(the whole file)"]
    unit.write_text(text, "utf-8")
    lines = [str(m) for m in check_files(names, settings=SETTINGS, needs=NEEDS)]
    assert [line.split(": ")[1] for line in lines] == [
        "trials[0] (steps).voltage",
        "(the whole file)",
    ]


def test_a_calibration_that_is_still_to_come_is_found_before_the_run() -> None:
    later = bench_text_with_a_calibration("2999-01-01")
    (line,) = _lines(_documents(bench=later))
    assert 'channels."voltage.sense".accuracy.calibrated' in line
    assert "2999-01-01" in line
    assert "after the run says nothing" in line
    assert not _lines(_documents(bench=bench_text_with_a_calibration("2026-05-01")))


def test_a_bench_alone_is_told_of_it_too(tmp_path: Path) -> None:
    text = shipped("bench")["simulated"].read_text("utf-8")
    path = tmp_path / "bench.toml"
    path.write_text(text.replace(*bench_text_with_a_calibration("2999-01-01")), "utf-8")
    (line,) = (str(one) for one in check_files([path], settings=SETTINGS, needs=NEEDS))
    assert "accuracy.calibrated: found 2999-01-01" in line


def bench_text_with_a_calibration(day: str) -> tuple[str, str]:
    """Return a line of the shipped bench, and the same with a calibration of that day."""
    table = '[channels."voltage.sense".accuracy]\n'
    return table, f"{table}calibrated = {day}\n"
