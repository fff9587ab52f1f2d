"""Quantities of documents: pydantic types that read "30 mV" into SI floats, and their rendering.

Every type is a `float` to the code and a string with a unit to the document and its JSON Schema.
"""

from dataclasses import dataclass
from typing import Annotated

from pydantic import GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from sequencer.documents import dimensions as d
from sequencer.documents.dimensions import Dimension
from sequencer.documents.parsing import QuantityError as QuantityError  # noqa: PLC0414
from sequencer.documents.parsing import Sign, expectation, pattern
from sequencer.documents.parsing import parse_quantity as parse_quantity  # noqa: PLC0414
from sequencer.documents.rendering import format_quantity as format_quantity  # noqa: PLC0414
from sequencer.documents.rendering import (  # the aliases make names public
    format_with_uncertainty as format_with_uncertainty,  # noqa: PLC0414
)
from sequencer.documents.text_values import TextValue

EXACT_DIGITS = 15
"""Decimal digits that a float keeps."""


@dataclass(frozen=True, slots=True)
class QuantityText(TextValue[float]):
    """Mark a float field as text with a unit of one dimension."""

    dimension: Dimension
    sign: Sign = "any"

    def parse(self, text: object) -> float:
        """Read the text; a QuantityError says what was found and what was expected."""
        return parse_quantity(text, self.dimension, self.sign)

    def write(self, value: float) -> str:
        """Return the text that is read as this value."""
        return format_quantity(value, self.dimension.shown, EXACT_DIGITS).replace("−", "-")

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Tell editors what the text looks like."""
        del schema, handler
        expected = expectation(self.dimension, self.sign)
        return {
            "type": "string",
            "pattern": pattern(self.dimension, self.sign),
            "examples": [self.dimension.example],
            "description": expected[0].upper() + expected[1:] + ".",
        }


Volts = Annotated[float, QuantityText(d.VOLTAGE)]
NonNegativeVolts = Annotated[float, QuantityText(d.VOLTAGE, "not negative")]
PositiveVolts = Annotated[float, QuantityText(d.VOLTAGE, "positive")]
Amperes = Annotated[float, QuantityText(d.CURRENT)]
NonNegativeAmperes = Annotated[float, QuantityText(d.CURRENT, "not negative")]
PositiveAmperes = Annotated[float, QuantityText(d.CURRENT, "positive")]
Ohms = Annotated[float, QuantityText(d.RESISTANCE)]
NonNegativeOhms = Annotated[float, QuantityText(d.RESISTANCE, "not negative")]
PositiveOhms = Annotated[float, QuantityText(d.RESISTANCE, "positive")]
Watts = Annotated[float, QuantityText(d.POWER)]
PositiveWatts = Annotated[float, QuantityText(d.POWER, "positive")]
Seconds = Annotated[float, QuantityText(d.TIME)]
NonNegativeSeconds = Annotated[float, QuantityText(d.TIME, "not negative")]
PositiveSeconds = Annotated[float, QuantityText(d.TIME, "positive")]
Hertz = Annotated[float, QuantityText(d.FREQUENCY)]
PositiveHertz = Annotated[float, QuantityText(d.FREQUENCY, "positive")]
Celsius = Annotated[float, QuantityText(d.TEMPERATURE)]
Kelvins = Annotated[float, QuantityText(d.TEMPERATURE_DIFFERENCE)]
NonNegativeKelvins = Annotated[float, QuantityText(d.TEMPERATURE_DIFFERENCE, "not negative")]
PositiveKelvins = Annotated[float, QuantityText(d.TEMPERATURE_DIFFERENCE, "positive")]
Ratio = Annotated[float, QuantityText(d.RATIO)]
NonNegativeRatio = Annotated[float, QuantityText(d.RATIO, "not negative")]
PositiveRatio = Annotated[float, QuantityText(d.RATIO, "positive")]
Metres = Annotated[float, QuantityText(d.LENGTH)]
PositiveMetres = Annotated[float, QuantityText(d.LENGTH, "positive")]
SquareMetres = Annotated[float, QuantityText(d.AREA)]
PositiveSquareMetres = Annotated[float, QuantityText(d.AREA, "positive")]
PerKelvin = Annotated[float, QuantityText(d.RATIO_PER_KELVIN)]
NonNegativePerKelvin = Annotated[float, QuantityText(d.RATIO_PER_KELVIN, "not negative")]
VoltsPerKelvin = Annotated[float, QuantityText(d.VOLTAGE_PER_KELVIN)]
NonNegativeVoltsPerKelvin = Annotated[float, QuantityText(d.VOLTAGE_PER_KELVIN, "not negative")]
AmperesPerKelvin = Annotated[float, QuantityText(d.CURRENT_PER_KELVIN)]
NonNegativeAmperesPerKelvin = Annotated[float, QuantityText(d.CURRENT_PER_KELVIN, "not negative")]
KelvinsPerKelvin = Annotated[float, QuantityText(d.KELVIN_PER_KELVIN)]
NonNegativeKelvinsPerKelvin = Annotated[float, QuantityText(d.KELVIN_PER_KELVIN, "not negative")]
VoltsPerSecond = Annotated[float, QuantityText(d.VOLTAGE_RATE)]
PositiveVoltsPerSecond = Annotated[float, QuantityText(d.VOLTAGE_RATE, "positive")]
AmperesPerSecond = Annotated[float, QuantityText(d.CURRENT_RATE)]
PositiveAmperesPerSecond = Annotated[float, QuantityText(d.CURRENT_RATE, "positive")]
KelvinsPerSecond = Annotated[float, QuantityText(d.TEMPERATURE_RATE)]
PositiveKelvinsPerSecond = Annotated[float, QuantityText(d.TEMPERATURE_RATE, "positive")]
