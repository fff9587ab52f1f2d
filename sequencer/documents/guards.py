"""Guards: watched bounds on channels, read by the quantity in the channel's name."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Self

from pydantic import (
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    TypeAdapter,
    ValidationError,
    model_validator,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from sequencer.documents.flaws import Flaw, flaws_of, raise_flaws
from sequencer.documents.parsing import describe, quoted
from sequencer.documents.quantities import (
    Amperes,
    Celsius,
    PositiveAmperesPerSecond,
    PositiveKelvinsPerSecond,
    PositiveSeconds,
    PositiveVoltsPerSecond,
    PositiveWatts,
    Volts,
)
from sequencer.documents.tables import Strict


class Guard(Strict):
    """Bounds in the channel's unit (V, A or °C; the rate per second)."""

    at_most: float | None = None
    at_least: float | None = None
    rate_at_most: float | None = None

    @model_validator(mode="after")
    def _bounds_something(self) -> Self:
        if not self.model_fields_set:
            wanted = "at least one of at_most, at_least, rate_at_most"
            raise_flaws([Flaw((), "a guard without a bound", wanted)])
        if self.at_least is not None and self.at_most is not None and self.at_least >= self.at_most:
            raise_flaws([Flaw(("at_least",), "a bound above at_most", "less than at_most")])
        return self


class VoltageGuard(Guard):
    """Bounds of a voltage."""

    at_most: Volts | None = None
    at_least: Volts | None = None
    rate_at_most: PositiveVoltsPerSecond | None = None


class CurrentGuard(Guard):
    """Bounds of a current."""

    at_most: Amperes | None = None
    at_least: Amperes | None = None
    rate_at_most: PositiveAmperesPerSecond | None = None


class TemperatureGuard(Guard):
    """Bounds of a temperature and of its rise."""

    at_most: Celsius | None = None
    at_least: Celsius | None = None
    rate_at_most: PositiveKelvinsPerSecond | None = None


class PowerGuard(Guard):
    """A bound of a power that is worked out from voltage and current."""

    at_most: PositiveWatts | None = None


class TimeGuard(Guard):
    """A bound of the time that the unit has been energised."""

    at_most: PositiveSeconds | None = None


DERIVED: Mapping[str, type[Guard]] = {
    "power.load": PowerGuard,
    "power.unit": PowerGuard,
    "time.on": TimeGuard,
    "departure.voltage": VoltageGuard,
    "departure.current": CurrentGuard,
    "missing.current": CurrentGuard,
}
"""What is worked out from readings and guarded like a channel: power into the load, power that the
unit turns into heat, time on power, how far the output lies beyond what was asked for, and what a
load leaves undrawn of what it was told although the output stands."""


INTERLOCK = "interlock"
"""Channels of safety inputs; each is guarded by itself and takes no bounds."""


BY_QUANTITY: Mapping[str, type[Guard]] = {
    "voltage": VoltageGuard,
    "current": CurrentGuard,
    "temperature": TemperatureGuard,
    "line": VoltageGuard,
}


def quantity_of(channel: str) -> str:
    """Return the quantity in a channel's name: its first word."""
    return channel.partition(".")[0]


def kind_of(name: str) -> type[Guard] | None:
    """Return what bounds a channel or a derived quantity, or None where nothing can."""
    return DERIVED.get(name) or BY_QUANTITY.get(quantity_of(name))


class _ByChannel:
    """Read a table of guards: each key is a channel, which says what is bounded."""

    @staticmethod
    def read(table: Any) -> dict[str, Guard]:  # anything may stand in a document
        """Read every guard and collect the mistakes of all."""
        if not isinstance(table, dict):
            raise_flaws([Flaw((), describe(table), "a table of guards, by channel")])
        guards: dict[str, Guard] = {}
        flaws: list[Flaw] = []
        for channel, data in table.items():
            kind = kind_of(channel)
            if kind is None:
                expected = (
                    f"a channel whose name begins with {', '.join(BY_QUANTITY)}, "
                    f"or {', '.join(DERIVED)}"
                )
                flaws.append(Flaw((channel,), quoted(channel), expected))
                continue
            try:
                guards[channel] = kind.model_validate(data)
            except ValidationError as error:
                flaws += (flaw.under(channel) for flaw in flaws_of(error, data))
        raise_flaws(flaws)
        return guards

    def __get_pydantic_core_schema__(
        self,
        source: Any,
        handler: GetCoreSchemaHandler,  # pydantic's protocol
    ) -> CoreSchema:
        """Tell pydantic how to read."""
        del source, handler
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Tell editors which bounds go with which channel."""
        del schema, handler
        return {
            "type": "object",
            "description": "Watched bounds, by channel; a guard that trips makes the bench safe.",
            "patternProperties": dict(self._patterns()),
            "additionalProperties": False,
        }

    @staticmethod
    def _patterns() -> Iterator[tuple[str, JsonSchemaValue]]:
        for quantity, kind in BY_QUANTITY.items():
            yield rf"^{quantity}\.", TypeAdapter(kind).json_schema()
        for name, kind in DERIVED.items():
            yield rf"^{name.replace('.', '[.]')}$", TypeAdapter(kind).json_schema()


Guards = Annotated[Mapping[str, Guard], _ByChannel()]
