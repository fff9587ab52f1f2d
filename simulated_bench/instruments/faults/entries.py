"""What a scenario, or somebody at the control instrument, says about one fault."""

import tomllib
from collections.abc import Collection, Iterable, Mapping
from typing import Any, Final, Literal, Self, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from simulated_bench.quantities import BenchTime, Ratio, Seconds
from simulated_bench.scenario_faults import UnitFaultTable, kind_of

AnswerFault = Literal["no answer", "late answer", "half an answer", "garbage", "closed connection"]
"""Touch a question's answer on its way."""

StandingFault = Literal["refused reconnect", "wrong instrument"]
"""Hold from their beginning until they end, whether anyone asks or not."""

ReadingFault = Literal["overload", "not a number", "frozen reading"]
"""Touch a measured value."""

SettingFault = Literal["ignored setting"]
"""Touches a command that sets something."""

SuddenFault = Literal["error queue full", "trip", "reset"]
"""Happen in one moment."""

What = Literal[AnswerFault, StandingFault, ReadingFault, SettingFault, SuddenFault]

ANSWER: Final = frozenset(get_args(AnswerFault))
STANDING: Final = frozenset(get_args(StandingFault))
READING: Final = frozenset(get_args(ReadingFault))
SETTING: Final = frozenset(get_args(SettingFault))
SUDDEN: Final = frozenset(get_args(SuddenFault))

DELAYED: Final = ("late answer", "half an answer")
DEFAULT_DELAY_S: Final = 10.0
"""Past the usual time-out of a client; seconds of the computer, as that is what clients wait by."""


class FaultEntry(BaseModel):
    """One fault of an instrument or its link.

    It begins `at` a bench time, with the query `after_queries` others, or at each query with a
    `probability`. Then it touches `count` occasions (1 unless said), or all while it `lasts`.
    Standing faults last for ever unless said; sudden ones take neither.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    instrument: str
    what: What
    at: BenchTime | None = None
    after_queries: int | None = Field(default=None, ge=0)
    probability: Ratio | None = None
    count: int | None = Field(default=None, ge=1)
    lasts: Seconds | None = None
    delay: Seconds | None = None
    """Of a late answer, or of the other half of one (which else never comes); computer's time."""
    becomes: str | None = None
    """The instrument that answers in place of this one."""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        triggers = (self.at, self.after_queries, self.probability)
        if sum(given is not None for given in triggers) != 1:
            raise ValueError("expected exactly one of at, after_queries, probability")
        if self.probability is not None and not 0.0 < self.probability.nominal <= 1.0:
            raise ValueError("probability: expected more than 0 % and at most 100 %")
        if self.count is not None and self.lasts is not None:
            raise ValueError("found count and lasts, expected at most one of them")
        if self.count is not None and self.what in STANDING:
            raise ValueError(f"count: '{self.what}' is not counted, say how long it lasts")
        if self.what in SUDDEN and (self.count, self.lasts) != (None, None):
            raise ValueError(f"'{self.what}' happens in one moment: no count, no lasts")
        if self.delay is not None and self.what not in DELAYED:
            raise ValueError(f"delay: expected only with {' or '.join(DELAYED)}")
        if (self.becomes is not None) != (self.what == "wrong instrument"):
            raise ValueError("becomes: expected with 'wrong instrument', and only there")
        return self


def read_entry(raw: Mapping[str, Any], names: Collection[str]) -> FaultEntry | UnitFaultTable:
    """Return a checked entry; one that names no instrument is a fault of the unit or the room.

    Raises
    ------
    ValueError
        With every mistake, one a line: ``key: found …, expected …``.
    """
    try:
        if kind_of(raw) == "unit":
            return UnitFaultTable.model_validate(raw)
        entry = FaultEntry.model_validate(raw)
    except ValidationError as error:
        raise ValueError("\n".join(_said(mistake) for mistake in error.errors())) from None
    mistakes = [
        f"{key}: found '{name}', expected one of {', '.join(names)}"
        for key, name in (("instrument", entry.instrument), ("becomes", entry.becomes))
        if name is not None and name not in names
    ]
    if entry.what == "trip" and entry.instrument != "load":
        mistakes.append(f"instrument: found '{entry.instrument}', expected the load: it can trip")
    if mistakes:
        raise ValueError("\n".join(mistakes))
    return entry


def read_text(text: str) -> dict[str, Any]:
    """Return an entry written as in a scenario, ``what = "no answer", at = "10 min"``.

    Raises
    ------
    ValueError
        If that is not TOML.
    """
    document = tomllib.loads(f"fault = {{ {text} }}")
    if list(document) != ["fault"]:
        raise ValueError("found more than one table, expected keys with values")
    return dict(document["fault"])


def read_entries(
    raw: Iterable[Mapping[str, Any]], names: Collection[str]
) -> tuple[list[FaultEntry | UnitFaultTable], list[str]]:
    """Return the entries that are right and every mistake of the others."""
    entries: list[FaultEntry | UnitFaultTable] = []
    mistakes: list[str] = []
    for number, table in enumerate(raw):
        try:
            entries.append(read_entry(table, names))
        except ValueError as error:
            mistakes.extend(f"faults.{number}.{line}" for line in str(error).splitlines())
    return entries, mistakes


def _said(mistake: Any) -> str:  # pydantic's own dictionary
    where = ".".join(str(part) for part in mistake["loc"])
    text = str(mistake["msg"]).removeprefix("Value error, ")
    return f"{where}: {text}" if where else text
