"""Dialects: the shipped ones are valid, and every mistake in a file is told."""

import pytest

from drivers.dialect_files import load_dialect, shipped
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
    path.write_text(text.replace("{here}", tmp_path.name))
    with pytest.raises(UnknownDialect, match=message):
        load_dialect(str(path), "meter", "address")


def test_a_dialect_is_laid_over_the_one_it_inherits(tmp_path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "below.toml").write_text(
        'inherits = "scpi-voltmeter"\ndescription = "below"\nwithout = ["errors"]\n'
        '[link]\nread_terminator = "\\r\\n"\n'
    )
    path = tmp_path / "above.toml"
    path.write_text(
        'inherits = "below.toml"\nwithout = ["settings.voltage_range.read_back"]\n'
        '[settings.voltage_range]\nwrite = "RANG {value}"\n'
    )
    found = load_dialect(str(path), "i", "a")
    usual = load_dialect("scpi-voltmeter", "i", "a")
    assert found.description == "below"
    assert found.errors is None
    assert usual.errors is not None
    assert found.link.read_terminator == "\r\n"
    assert found.settings["voltage_range"].write == "RANG {value}"
    assert found.settings["voltage_range"].read_back is None
    assert found.settings["voltage_range"].compare == "at least"
    assert found.settings["voltage_integration"] == usual.settings["voltage_integration"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('inherits = "bad.toml"\n', "inherits itself"),
        ('inherits = "../{here}/bad.toml"\n', "inherits itself"),
        ('inherits = "scpi-kettle"\n', "no dialect 'scpi-kettle' was found .inherited by 'bad'"),
        ("inherits = 1\n", "'inherits' must be a name"),
        ('inherits = "scpi-voltmeter"\nwithout = "errors"\n', "a list of key paths"),
        ('inherits = "scpi-voltmeter"\nwithout = ["lid"]\n', "'lid', which 'scpi-voltmeter' does"),
        ('without = ["errors"]\n' + GOOD, "has nothing to leave out"),
        ('inherits = "scpi-voltmeter"\ncolour = 1\n', "colour.*not permitted"),
    ],
)
def test_mistakes_of_inheritance_are_told(tmp_path, text: str, message: str) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "bad.toml"
    path.write_text(text.replace("{here}", tmp_path.name))
    with pytest.raises(UnknownDialect, match=message):
        load_dialect(str(path), "meter", "address")
