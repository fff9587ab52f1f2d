"""Accuracy statements as data sheets and certificates have them: read, refused, resolved."""

import math
from datetime import date
from typing import Any

import pytest
from documents_fits import fits
from documents_made_up import BENCH, changed, mistakes

from sequencer.documents.bench import BenchDocument
from sequencer.documents.channels import BenchChannel
from sequencer.documents.schema import schema
from sequencer.errors import FigureError

DAY = date(2026, 11, 1)
PAPER = {
    "gain_error": "12 ppm",
    "gain_uncertainty": "30 ppm",
    "offset_error": "-0.1 mV",
    "offset_uncertainty": "50 µV",
    "k": 2,
}


def bench(statement: dict[str, Any], **channel: Any) -> dict[str, Any]:
    entry = BENCH["channels"]["voltage.sense"] | {"accuracy": statement} | channel
    return changed(BENCH, "channels", "voltage.sense", to=entry)


def read(statement: dict[str, Any], **channel: Any) -> BenchChannel:
    document = BenchDocument.model_validate(bench(statement, **channel))
    return document.channels["voltage.sense"]


def test_reading_and_range_become_gain_and_offset() -> None:
    channel = read({"error": "0.02 % of reading + 0.005 % of range"}, range="40 V")
    found = channel.accuracy_at(DAY)
    assert found["gain"] == pytest.approx(2e-4)
    assert found["offset"] == pytest.approx(2e-3)
    assert channel.has_accuracy
    assert "0.02 % of reading + 0.005 % of range" in channel.accuracy_words


@pytest.mark.parametrize(
    ("display", "step"), [("6000 counts", 0.01), ("4.5 digits", 60 / 20_000), ("5 digits", 6e-4)]
)
def test_digits_count_steps_of_the_display(display: str, step: float) -> None:
    found = read({"error": "0.5 % + 3 digits", "display": display}, range="60 V").accuracy_at(DAY)
    assert found["resolution"] == pytest.approx(step)
    assert found["offset"] == pytest.approx(3 * step)
    assert found["gain"] == pytest.approx(5e-3)


def test_counts_of_a_stated_resolution() -> None:
    found = read({"error": "0.5 % + 2 counts + 1 mV", "resolution": "10 mV"}).accuracy_at(DAY)
    assert found["offset"] == pytest.approx(21e-3)


def test_a_certificate_gives_normal_parts_and_a_correction() -> None:
    channel = read({"calibrated": date(2026, 5, 1), "certificate": PAPER, "yearly_gain": "20 ppm"})
    found = channel.accuracy_at(DAY)
    assert found["certified_gain"] == pytest.approx(15e-6)
    assert found["certified_offset"] == pytest.approx(25e-6)
    assert found["aged_gain"] == pytest.approx(20e-6 * 184 / 365.25)
    assert channel.correction is not None
    assert channel.correction.gain == pytest.approx(12e-6)
    assert channel.correction.offset == pytest.approx(-1e-4)
    assert "calibrated 2026-05-01" in channel.accuracy_words
    assert "k = 2" in channel.accuracy_words


def test_a_certificates_probability_stands_for_its_k() -> None:
    paper = {key: value for key, value in PAPER.items() if key != "k"} | {"probability": "95 %"}
    found = read({"calibrated": date(2026, 5, 1), "certificate": paper}).accuracy_at(DAY)
    # JCGM 100, table G.1: 95 % of a normal distribution are k = 1.960.
    assert found["certified_gain"] == pytest.approx(30e-6 / 1.960, rel=1e-4)


def test_without_a_run_a_calibration_is_a_year_old() -> None:
    channel = read({"calibrated": date(2026, 5, 1), "yearly_offset": "0.2 mV"})
    assert channel.accuracy_at(None)["aged_offset"] == pytest.approx(2e-4)


def test_a_calibration_after_the_run_is_refused() -> None:
    channel = read({"calibrated": date(2026, 12, 1), "yearly_offset": "0.2 mV"})
    with pytest.raises(FigureError, match="after the run of 2026-11-01"):
        channel.accuracy_at(DAY)


@pytest.mark.parametrize("statement", [{}, {"gain": "0 %"}, {"temperature_span": "3 K"}])
def test_a_statement_of_nothing_is_none(statement: dict[str, Any]) -> None:
    assert not read(statement).has_accuracy


@pytest.mark.parametrize(
    ("statement", "channel", "path", "says"),
    [
        ({"error": "0.5"}, {}, "accuracy.error", 'the part "0.5"'),
        ({"error": "0.5 % + 2 %"}, {}, "accuracy.error", "two parts of one kind"),
        ({"error": "-0.5 %"}, {}, "accuracy.error", "a negative part"),
        ({"error": "0 %"}, {}, "accuracy.error", "nothing but zero"),
        ({"error": "0.5 % + 2 mA"}, {}, "accuracy.error", 'the part "2 mA"'),
        ({"temperature_offset": "10 µV/K"}, {}, "accuracy.temperature_span", "counts by it"),
        ({"error": 0.5}, {}, "accuracy.error", "a number without a unit"),
        ({"error": "0.5 % + 3 digits"}, {}, "accuracy.display", "error counts digits"),
        ({"error": "1 %", "gain": "1 %"}, {}, "accuracy.gain", "error holds both"),
        ({"display": "4.7 digits"}, {"range": "4 V"}, "accuracy.display", "6000 counts"),
        ({"display": "0 counts"}, {"range": "4 V"}, "accuracy.display", "6000 counts"),
        ({"display": "6000 counts"}, {}, "range", "stated in parts of"),
        ({"error": "1 % of range"}, {}, "range", "accuracy.error is stated in parts of"),
        ({"yearly_gain": "1 %"}, {}, "accuracy.calibrated", "date of calibration"),
        ({"certificate": PAPER}, {}, "accuracy.calibrated", "date of calibration"),
        ({"certificate": PAPER | {"k": 0}}, {}, "accuracy.certificate.k", "more than 0"),
        (
            {"certificate": PAPER | {"probability": "95 %"}},
            {},
            "accuracy.certificate",
            "both k and probability",
        ),
        (
            {"certificate": {"k": 2, "gain_error": "1 ppm"}, "calibrated": DAY},
            {},
            "accuracy.certificate",
            "no calibration is exact",
        ),
        (
            {"certificate": PAPER, "calibrated": DAY, "gain": "1 %"},
            {},
            "accuracy.gain",
            "the certificate's alone",
        ),
        (
            {"certificate": PAPER | {"shunt_uncertainty": "1 %"}, "calibrated": DAY},
            {},
            "accuracy.certificate.shunt_uncertainty",
            "only beside a shunt",
        ),
        ({"calibrated": "last May"}, {}, "accuracy.calibrated", "date"),
        ({"calibrated": 0}, {}, "accuracy.calibrated", "a date, such as 2026-05-01"),
        ({"calibrated": "0"}, {}, "accuracy.calibrated", "a date, such as 2026-05-01"),
        *(
            (
                {"certificate": PAPER | more, "calibrated": DAY},
                {},
                f"accuracy.certificate.{key}",
                says,
            )
            for more, key, says in (
                ({"k": math.inf}, "k", "a coverage factor from 1 to 14"),
                ({"k": 1e-9}, "k", "a coverage factor from 1 to 14"),
                ({"gain_error": "-100 %"}, "gain_error", "at most 10 %"),
                (
                    {"gain_error": "1 %", "gain_uncertainty": "0 %", "offset_uncertainty": "1 mV"},
                    "gain_uncertainty",
                    "no calibration is exact",
                ),
            )
        ),
        ({"gain": "150 %"}, {}, "accuracy.gain", "such a meter tells nothing"),
        ({"error": "150 %"}, {}, "accuracy.error", "such a meter tells nothing"),
    ],
)
def test_mistakes_are_found_where_they_are(
    statement: dict[str, Any], channel: dict[str, Any], path: str, says: str
) -> None:
    found = mistakes(BenchDocument, bench(statement, **channel))
    assert any(f'channels."voltage.sense".{path}: ' in one and says in one for one in found), found


@pytest.mark.parametrize(
    ("statement", "valid"),
    [
        ({"error": "0.5 % + 3 digits", "display": "6000 counts"}, True),
        ({"error": "0.02 % of reading + 50 ppm of range"}, True),
        ({"error": "half a per cent"}, False),
        ({"display": "some"}, False),
        ({"certificate": {"gain_uncertainty": "3 V", "k": 2}}, False),
    ],
)
def test_an_editor_sees_the_same(statement: dict[str, Any], *, valid: bool) -> None:
    whole = schema("bench")
    assert fits(bench(statement, range="60 V"), whole, whole) == valid
