"""What all values have in common that documents write as text: reading, refusing, writing back."""

from typing import Any, Generic, TypeVar

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from sequencer.documents.parsing import QuantityError

V = TypeVar("V")


class TextValue(Generic[V]):
    """Mark a field as text that is read into a value; a subclass says how, and how it looks."""

    __slots__ = ()

    def parse(self, text: object) -> V:
        """Read the text; a QuantityError says what was found and what was expected."""
        raise NotImplementedError

    def write(self, value: V) -> str:
        """Return the text that is read as this value."""
        raise NotImplementedError

    def read(self, text: object) -> V:
        """Read the text; a pydantic error carries what was found and what was expected."""
        try:
            return self.parse(text)
        except QuantityError as error:
            raise PydanticCustomError(
                "quantity",
                "found {found}, expected {expected}",
                {"found": error.found, "expected": error.expected},
            ) from None

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Tell pydantic how to read and write."""
        del source, handler
        return core_schema.no_info_plain_validator_function(
            self.read,
            serialization=core_schema.plain_serializer_function_ser_schema(
                self.write, when_used="json"
            ),
        )
