import io
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up_result import FIGURES, VERDICTS, made_up_result
from rich.console import Console

from sequencer.outputs import words
from sequencer.outputs.terminal import MOST_EVENTS, print_result
from sequencer.results import Event


def printed(result, *, width=80, **options):
    stream = io.StringIO()
    print_result(result, Console(file=stream, width=width), **options)
    return stream.getvalue()


def test_every_limit_has_its_verdict_on_its_line():
    text = printed(made_up_result(), width=110)
    row = next(line for line in text.splitlines() if line.startswith("Drift"))
    assert "36.8 mV ± 1.8 mV" in row
    assert "≤ 30 mV" in row
    assert "fail" in row
    assert "8 h" in row


def test_eighty_columns_are_enough_and_nothing_is_coloured_in_a_pipe():
    text = printed(made_up_result())
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= 80


def test_record_and_report_are_named_unbroken():
    long = Path("a" * 120) / "report.html"
    text = printed(made_up_result(record="b" * 120), report=long)
    assert f"Record: {'b' * 120}" in text
    assert f"Report: {long}" in text


def test_reasons_for_what_did_not_pass_are_given():
    text = " ".join(printed(made_up_result()).split())
    assert "Drift, fail: The value is 0.0068 V outside the limit" in text
    assert "Look at the sense pair" in text


def test_the_least_ratio_and_the_worst_risk_are_told():
    verdicts = (
        replace(VERDICTS[0], false_accept=0.02275, false_reject=0.02275),
        replace(VERDICTS[3], ratio=3.26, false_accept=0.5, false_reject=0.5),
    )
    text = " ".join(printed(made_up_result(verdicts=verdicts)).split())
    assert "Limit / U: 3.3 or more (limit current)" in text
    assert "passed wrongly 50 %, failed wrongly 50 %" in text


def test_a_figures_warning_is_for_everybody():
    figure = replace(FIGURES[2], notes=("Warning: current.load is the odd one out.", "Quiet."))
    text = printed(made_up_result(figures=(figure,), verdicts=()))
    assert "current.load is the odd one out." in text
    assert "Quiet" not in text


def test_only_the_last_grave_events_are_listed():
    events = tuple(Event(float(i), "", "guard", "alarm", f"number {i}.") for i in range(20))
    text = printed(made_up_result(events=events))
    assert "Events: 20 alarms" in text
    assert "number 19." in text
    assert "number 11." not in text
    assert f"{20 - MOST_EVENTS} earlier ones" in text


def test_a_run_without_verdicts_still_prints():
    text = printed(made_up_result(verdicts=(), figures=(), events=(), outcome="", exit=3))
    assert "Undecided" in text


@given(st.text(max_size=40), st.integers(20, 120))
@settings(max_examples=40, deadline=None)
def test_texts_are_printed_as_they_are(text, width):
    nasty = f"[bold]{text}[/nonsense]"
    verdict = replace(VERDICTS[0], why=nasty, remarks=(nasty,), outcome="fail", figure=nasty)
    output = printed(made_up_result(verdicts=(verdict,), notes=(nasty,)), width=width)
    assert "\x1b" not in output
    assert "[bold]" in output.replace("\n", "")


def test_what_was_promised_but_not_reached_stands_beside_what_was():
    lines = printed(made_up_result(), width=110).splitlines()
    row = next(i for i, line in enumerate(lines) if line.startswith("Short current"))
    assert "1.4 V" in lines[row]
    assert "of 1 V" in lines[row + 1]


def test_where_a_terminal_is_narrow_what_was_covered_stands_below_the_verdicts():
    narrow = printed(made_up_result())
    assert "Covered\n" not in narrow.splitlines()[2]
    assert "short current: 1.4 V of 1 V" in " ".join(narrow.split())
    assert "drift: 8 h" in " ".join(narrow.split()).lower()
    # No row is followed by empty lines that a squeezed column leaves.
    assert "\n \n" not in narrow


def test_an_alarm_is_the_first_and_the_last_line():
    text = printed(made_up_result(alarm="Making safe is NOT VERIFIED."), report=Path("r.html"))
    lines = [line for line in text.splitlines() if line.strip()]
    assert lines[0] == lines[-1] == "⚠ ALARM: Making safe is NOT VERIFIED."


def test_a_simulated_bench_and_the_records_digest_are_said():
    said = "Simulated bench, scenario healthy, seed 3: no real unit was measured"
    text = printed(made_up_result(simulated=said, digest="sha256 abc"))
    assert said in text
    assert "runs/w-17-2026-03-14.steadyrail (sha256 abc)" in text


def test_one_reason_for_several_limits_is_said_once():
    why = "The run ended before the limit sweep had traced anything."
    verdicts = tuple(
        replace(VERDICTS[0], figure=name, outcome="not covered", why=why, remarks=())
        for name in ("limit_current", "knee_current")
    )
    text = " ".join(printed(made_up_result(verdicts=verdicts)).split())
    assert text.count(why) == 1
    assert f"Limit current, knee current, not covered: {why}" in text


@pytest.mark.parametrize(
    ("lower", "upper", "text"),
    [
        (2.9995, None, "at least 2.9995 A"),
        (None, 3.6005, "at most 3.6005 A"),
        (3.0, 3.60005, "3 A to 3.60005 A"),
    ],
)
def test_a_limit_is_shown_as_it_was_promised(lower, upper, text):
    known = next(one for one in VERDICTS if one.unit == "A")
    assert words.limit(replace(known, lower=lower, upper=upper)) == text
