"""One promised limit: a figure, a bound, and the condition that it holds for."""

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Any, Literal, Self

from pydantic import ConfigDict, Field, model_validator

from sequencer.documents.bounds import Allowance, Bound, parse_allowance
from sequencer.documents.figure_names import DRIFT_DEFINITIONS, FIGURES, KnownFigure
from sequencer.documents.flaws import Flaw, one_of, raise_flaws
from sequencer.documents.parsing import QuantityError, quoted
from sequencer.documents.quantities import (
    NonNegativeAmperes,
    NonNegativeVolts,
    PositiveAmperes,
    PositiveSeconds,
    PositiveVolts,
    Ratio,
    format_quantity,
)
from sequencer.documents.tables import Strict

#: The set voltage may differ from the stated one by this share: a hand sets it, and a limit's
#: figure changes with the setting no faster than in proportion.
SETTING_TOLERANCE = 0.01
#: Of that share, so that "29.7 V" is within it of 30 V.
_ROUNDING = 1e-9

NOT_MEASURED = ("line", "ripple", "noise", "pard", "transient", "recovery", "overshoot", "dropout")
NOT_MEASURED_WORDS = (
    "a figure that is measured here, which line regulation, dropout, ripple and noise (PARD) and "
    "load transients are not"
)
_BOUNDS = ("at_most", "at_least", "between")


class Condition(Strict):
    """What a limit holds for; line voltages are departures from the rated one."""

    voltage: PositiveVolts | None = None
    current_from: NonNegativeAmperes | None = None
    current_to: PositiveAmperes | None = None
    duration: PositiveSeconds | None = None
    line_from: Ratio | None = None
    line_to: Ratio | None = None
    load_voltage: NonNegativeVolts | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        raise_flaws(self._disorder())
        return self

    def _disorder(self) -> Iterator[Flaw]:
        for low, high, unit in (
            ("current_from", "current_to", "A"),
            ("line_from", "line_to", "%"),
        ):
            first, last = getattr(self, low), getattr(self, high)
            if first is not None and last is not None and last <= first:
                yield Flaw(
                    (high,),
                    f'"{format_quantity(last, unit)}"',
                    f"more than {low} ({format_quantity(first, unit)})",
                )


def same_setting(voltage: float, stated: float) -> bool:
    """Tell whether a trial's voltage (V) is the one that a promise is stated for."""
    return abs(voltage - stated) <= SETTING_TOLERANCE * stated * (1.0 + _ROUNDING)


class Limit(Strict):
    """A promise of the unit: exactly one of at_most, at_least, between."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": [bound]} for bound in _BOUNDS]}
    )

    figure: str = Field(json_schema_extra={"enum": [*sorted(FIGURES)]})
    at_most: str | None = Field(default=None, examples=["0.02 % + 2 mV"])
    at_least: str | None = Field(default=None, examples=["3 A"])
    between: tuple[str, str] | None = Field(default=None, examples=[["3 A", "3.6 A"]])
    definition: Literal["from start", "span", "about the mean"] | None = Field(
        default=None, description="Which definition of drift the limit uses (drift only)."
    )
    condition: Condition = Condition()

    @classmethod
    def crossed(cls, data: Mapping[str, Any]) -> Iterator[Flaw]:
        """Look at figure, bound and definition together."""
        yield from _together(data)

    @cached_property
    def bound(self) -> Bound:
        """The bound, read by the figure's dimension."""
        known = FIGURES[self.figure]
        if self.between is not None:
            low, high = self.between
            return Bound(_allowance(low, known), _allowance(high, known))
        if self.at_most is not None:
            return Bound(None, _allowance(self.at_most, known))
        return Bound(_allowance(self.at_least, known), None)

    @property
    def judged_figure(self) -> str:
        """The name of the figure that is compared with the bound."""
        return self.figure if self.definition is None else DRIFT_DEFINITIONS[self.definition]

    @property
    def unit(self) -> str:
        """The figure's SI unit."""
        return FIGURES[self.figure].unit


def _allowance(text: object, known: KnownFigure) -> Allowance:
    return parse_allowance(text, known.dimension, signed=known.signed)


def _together(data: Mapping[str, Any]) -> Iterator[Flaw]:
    figure = data.get("figure")
    given = [key for key in _BOUNDS if key in data]
    if len(given) != 1:
        yield Flaw((), " and ".join(given) or "no bound", f"exactly one of {', '.join(_BOUNDS)}")
    if isinstance(figure, str) and figure not in FIGURES:
        expected = one_of(FIGURES, figure, "a known figure")
        plain = figure.lower().replace(" ", "_").replace("-", "_")
        if any(word in plain for word in NOT_MEASURED):
            expected = f"{NOT_MEASURED_WORDS}; {expected}"
        yield Flaw(("figure",), quoted(figure), expected)
    if figure == "drift" and "definition" not in data:
        definitions = ", ".join(f'"{name}"' for name in DRIFT_DEFINITIONS)
        yield Flaw(("definition",), "nothing", f"one of {definitions}")
    if figure != "drift" and "definition" in data:
        yield Flaw(("definition",), quoted(data["definition"]), "no definition: only drift has one")
    known = FIGURES.get(figure) if isinstance(figure, str) else None
    if known is None:
        return
    for key in given:
        if key == "between" and not isinstance(data[key], list | tuple):
            yield Flaw((key,), quoted(data[key]), 'a list of two, such as ["3 A", "3.6 A"]')
            continue
        texts = data[key] if key == "between" else [data[key]]
        for index, text in enumerate(texts):
            try:
                _allowance(text, known)
            except QuantityError as error:
                path = (key, index) if key == "between" else (key,)
                yield Flaw(path, error.found, error.expected)
    yield from _disorder(data, known)


def _disorder(data: Mapping[str, Any], known: KnownFigure) -> Iterator[Flaw]:
    """Find a lower bound that is not below the upper one, at a setting of nothing."""
    between = data.get("between")
    if not isinstance(between, list | tuple) or len(between) != len(("low", "high")):
        return
    try:
        low, high = (_allowance(text, known) for text in between)
    except QuantityError:
        return
    if low.percent >= high.percent and low.fixed >= high.fixed:
        yield Flaw(
            ("between",),
            f"{quoted(between[0])} before {quoted(between[1])}",
            "two bounds apart: a limit without width can't be kept"
            if low == high
            else "the lower bound first",
        )
