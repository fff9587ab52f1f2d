"""What all tables of documents share: unknown keys are mistakes, and all mistakes come at once."""

from collections.abc import Iterable, Mapping
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator
from pydantic.functional_validators import ModelWrapValidatorHandler

from sequencer.documents.flaws import Flaw, flaws_of, raise_flaws
from sequencer.documents.wanted import WITHOUT_DETAIL


class Strict(BaseModel):
    """A table of a document: unknown keys are mistakes, values don't change."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    @classmethod
    def crossed(cls, data: Mapping[str, Any]) -> Iterable[Flaw]:
        """Return what does not fit together in raw data; single values are checked elsewhere.

        Raw, so that a mistake in one entry does not hide what is wrong elsewhere. Values that have
        a mistake of their own are passed over.
        """
        del data
        return ()

    @model_validator(mode="wrap")
    @classmethod
    def _all_at_once(cls, data: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        """Collect the mistakes of single values and of what does not fit together."""
        flaws: tuple[Flaw, ...] = ()
        table: Self | None = None
        try:
            table = handler(data)
        except ValidationError as error:
            flaws = flaws_of(error, data, cls.model_fields)
        if isinstance(data, Mapping):
            crossed = tuple(cls.crossed(data))
            known = {flaw.path for flaw in crossed}
            # What a key is for says more than its type does.
            flaws = tuple(
                one for one in flaws if one.path not in known or one.expected not in WITHOUT_DETAIL
            )
            seen = {flaw.path for flaw in flaws}
            flaws += tuple(flaw for flaw in crossed if flaw.path not in seen)
        raise_flaws(flaws)
        if table is None:
            raise AssertionError("a table without flaws is valid")
        return table
