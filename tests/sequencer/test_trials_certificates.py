"""A certificate's correction reaches figures through the evidence, and nothing else."""

import tomllib
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from documents_made_up import BENCH, changed

from sequencer.documents.bench import BenchDocument
from sequencer.documents.load import load_profile
from sequencer.judging import judge_evidence
from sequencer.record.read import Step
from sequencer.requests import Read, Readings
from sequencer.trials.trial import Context, Evidence
from sequencer.uncertainty.accuracy import mean_of

DOCUMENTS = load_profile("acceptance")
README = Path(__file__).parents[2] / "README.md"


def calibrated(channel, certificate, **more):
    """Return the shipped bench with a certificate for one channel in place of gain and offset."""
    raw = tomllib.loads(DOCUMENTS.bench_source.text)
    statement = raw["channels"][channel]["accuracy"]
    for key in ("gain", "offset"):
        statement.pop(key, None)
    statement |= {"calibrated": date(2026, 5, 1), "certificate": certificate} | more
    return BenchDocument.model_validate(raw)


def reading(bench, channel, value):
    values = {channel: np.array([value, value])}
    times = {channel: np.array([0.0, 1.0])}
    step = Step(0, Read((channel,), 2, 1.0, {"part": "x"}), Readings(times, times, values))
    evidence = Evidence("t", Context(DOCUMENTS.unit, bench, date(2026, 11, 1)), (step,))
    (point,) = evidence.points(part="x")
    assert step.reply.value[channel][0] == value  # what was read stays what it was
    return point.mean(channel)


PAPER = {
    "gain_error": "0.1 %",
    "gain_uncertainty": "30 ppm",
    "offset_error": "2 mV",
    "offset_uncertainty": "0.1 mV",
    "k": 2,
}


def test_what_the_certificate_found_is_taken_off():
    bench = calibrated("voltage.sense", PAPER)
    assert reading(bench, "voltage.sense", 30.0 * 1.001 + 0.002) == pytest.approx(30.0, abs=1e-12)


def test_an_offset_at_the_shunts_meter_is_volts():
    bench = calibrated(
        "current.shunt", {"offset_error": "20 µV", "offset_uncertainty": "1 µV", "k": 2}
    )
    # 3 A over 10 mΩ are 30 mV; the meter adds 20 µV, which is 2 mA.
    assert reading(bench, "current.shunt", 3.002) == pytest.approx(3.0, abs=1e-12)


def test_the_budget_takes_the_certificates_uncertainty_and_the_age():
    bench = calibrated("voltage.sense", PAPER, yearly_gain="20 ppm")
    context = Context(DOCUMENTS.unit, bench, date(2026, 11, 1))
    parts = {part.name: part for part in mean_of(context.accuracy("voltage.sense"), 30.0, 1)}
    by_paper = parts["gain by certificate (voltage.sense)"]
    assert by_paper.distribution == "normal"
    assert by_paper.contribution == pytest.approx(30.0 * 15e-6)
    aged = parts["gain since calibration (voltage.sense)"]
    assert aged.contribution == pytest.approx(30.0 * 20e-6 * 184 / 365.25 / 3**0.5)


def test_a_calibration_after_the_run_costs_the_figures_and_says_so():
    documents = replace(DOCUMENTS, bench=calibrated("voltage.sense", PAPER))
    judged = judge_evidence(documents, [], date(2025, 1, 1))
    assert not judged.figures  # nothing was measured here anyway
    context = Context(documents.unit, documents.bench, date(2025, 1, 1))
    with pytest.raises(Exception, match="after the run of 2025-01-01"):
        context.accuracy("voltage.sense")


def test_the_readmes_statements_are_valid():
    section = README.read_text("utf-8").partition("can be stated as you find it")[2]
    block = section.partition("```toml\n")[2].partition("```")[0]
    lines = block.splitlines()
    single = [tomllib.loads(line)["accuracy"] for line in lines if line.startswith("accuracy =")]
    table = tomllib.loads("\n".join(line for line in lines if not line.startswith("accuracy =")))
    for statement in (*single, table["channels"]["voltage.sense"]["accuracy"]):
        entry = BENCH["channels"]["voltage.sense"] | {"accuracy": statement, "range": "60 V"}
        BenchDocument.model_validate(changed(BENCH, "channels", "voltage.sense", to=entry))
    assert len(single) == 2
