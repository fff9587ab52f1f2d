"""The unit document: the supply under test, with its ratings and the limits it promises."""

from collections.abc import Iterator, Mapping
from typing import Any, Literal, Self

from pydantic import Field, StrictBool, TypeAdapter, ValidationError, model_validator

from sequencer.documents.flaws import Flaw, raise_flaws
from sequencer.documents.limits import Limit
from sequencer.documents.quantities import (
    NonNegativeVolts,
    PositiveAmperes,
    PositiveHertz,
    PositiveSeconds,
    PositiveVolts,
    PositiveWatts,
    format_quantity,
)
from sequencer.documents.tables import Strict

DEFAULT_WARM_UP_S = 1800.0
"""Half an hour, unless the unit says otherwise (common practice, no source)."""


class UnitTable(Strict):
    """What the unit is and how it is operated."""

    tag: str = Field(min_length=1, description="The asset tag or serial number on the unit.")
    description: str = ""
    control: Literal["hand", "remote"]
    sense_terminals: StrictBool = False
    warm_up: PositiveSeconds = DEFAULT_WARM_UP_S


class Ratings(Strict):
    """What the unit is rated for."""

    voltage: PositiveVolts
    current: PositiveAmperes
    line_voltage: PositiveVolts
    line_frequency: PositiveHertz
    dissipation: PositiveWatts | None = Field(
        default=None, description="The most that the unit may turn into heat."
    )
    sense_compensation: PositiveVolts | None = Field(
        default=None, description="The greatest lead drop that remote sense makes up for."
    )


class Range(Strict):
    """An output range (a tap of the transformer) with its voltage before the pass element."""

    name: str = Field(min_length=1)
    voltage_from: NonNegativeVolts
    voltage_to: PositiveVolts
    unregulated: PositiveVolts = Field(
        description="Typical voltage before the pass element, to estimate its dissipation."
    )

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        raise_flaws(self._disorder())
        return self

    def _disorder(self) -> Iterator[Flaw]:
        shown = format_quantity(self.voltage_to, "V")
        if self.voltage_to <= self.voltage_from:
            low = format_quantity(self.voltage_from, "V")
            yield Flaw(("voltage_to",), f'"{shown}"', f"more than voltage_from ({low})")
        if self.unregulated <= self.voltage_to:
            yield Flaw(
                ("unregulated",),
                f'"{format_quantity(self.unregulated, "V")}"',
                f"more than voltage_to ({shown}): the pass element needs a voltage to drop",
            )


class UnitDocument(Strict):
    """The unit under test."""

    unit: UnitTable
    ratings: Ratings
    ranges: tuple[Range, ...] = Field(min_length=1)
    limits: tuple[Limit, ...] = Field(min_length=1)

    @classmethod
    def crossed(cls, data: Mapping[str, Any]) -> Iterator[Flaw]:
        """Look at the ratings and the ranges together."""
        ratings = _part(data, "ratings", Ratings)
        ranges = _part(data, "ranges", tuple[Range, ...])
        if ratings is not None and ranges:
            yield from _uncovered(ratings, ranges)


def _uncovered(ratings: Ratings, ranges: tuple[Range, ...]) -> Iterator[Flaw]:
    reached = _reach(ranges, ratings.voltage)
    if reached < ratings.voltage:
        yield Flaw(
            ("ranges",),
            f"a gap above {format_quantity(reached, 'V')}",
            f"ranges that cover 0 V to the rated {format_quantity(ratings.voltage, 'V')}",
        )


def _reach(ranges: tuple[Range, ...], rated: float) -> float:
    """Return up to where ranges cover the output without a gap, starting at 0 V."""
    reached = 0.0
    for item in sorted(ranges, key=lambda item: item.voltage_from):
        if item.voltage_from <= reached:
            reached = max(reached, item.voltage_to)
    return min(reached, rated)


def _part(data: Mapping[str, Any], key: str, kind: Any) -> Any:
    """Return one table of raw data, validated, or None where it has mistakes of its own."""
    try:
        return TypeAdapter(kind).validate_python(data[key])
    except (ValidationError, KeyError):
        return None
