"""The examples in the docstrings of the numerics run, and everything exported has a docstring."""

import doctest
import importlib
import pkgutil

import pytest

from sequencer import numerics

MODULES = sorted(one.name for one in pkgutil.iter_modules(numerics.__path__))
WITH_EXAMPLES = {
    *("allan", "chained", "decay", "drift", "effective", "knee", "line", "pairs", "settling"),
    *("pace", "warmup"),
}


@pytest.mark.parametrize("name", MODULES)
def test_examples_say_what_the_code_does(name: str) -> None:
    found = doctest.testmod(importlib.import_module(f"sequencer.numerics.{name}"))
    assert found.failed == 0
    assert (found.attempted > 0) == (name in WITH_EXAMPLES)


@pytest.mark.parametrize("name", numerics.__all__)
def test_what_is_exported_says_what_it_takes_gives_and_refuses(name: str) -> None:
    text = getattr(numerics, name).__doc__ or ""
    assert text.strip()
    if name.islower():
        for word in ("Parameters", "Shape"):
            assert word in text or name in {"rate", "departures", *ALIKE}, word
        assert "Raises" in text or name in ALIKE


ALIKE = {
    *("correlation_time", "greatest_span", "temperature_coefficient", "bracketed_differences"),
    "hysteresis",
}
"""These refer to the function before them, or take means and not arrays."""
