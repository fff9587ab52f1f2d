"""Dialects: the shipped ones are valid, and every mistake in a file is told."""

import pytest

from drivers.dialect import load_dialect, shipped
from drivers.errors import UnknownDialect

GOOD = 'description = "x"\nroles = ["voltmeter"]\n[questions.voltage]\nask = "READ?"\n'


@pytest.mark.parametrize("name", shipped())
def test_shipped_dialects_are_valid(name: str) -> None:
    assert load_dialect(name, "i", "a").description


def test_a_file_of_ones_own_is_read(tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "mine.toml"
    path.write_text(GOOD)
    assert load_dialect(str(path), "i", "a").questions["voltage"].ask == "READ?"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (GOOD + "colour = 1\n", "questions.voltage.colour.*not permitted"),
        ("x = [", "can't be read"),
        ('description = "x"\nroles = ["voltmeter"]\n', "needs questions: voltage"),
        (GOOD.replace("voltmeter", "kettle"), "unknown role 'kettle'"),
        (GOOD.replace("READ?", "READ? {nonsense}"), "unknown placeholder nonsense"),
        (GOOD + '[settings.voltage_range]\nwrite = "RANGe"\n', "must hold {value}"),
        (GOOD.replace("READ?", "READ?\\n"), "questions.voltage.ask"),
        (GOOD + '[settings.r]\nwrite = "R {value}"\nrelative = -1\n', "greater than or equal"),
    ],
)
def test_mistakes_are_told_with_their_place(tmp_path, text: str, message: str) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "bad.toml"
    path.write_text(text)
    with pytest.raises(UnknownDialect, match=message):
        load_dialect(str(path), "meter", "address")
