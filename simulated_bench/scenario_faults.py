"""What a scenario's ``[[faults]]`` may say about the unit and the room.

A table with ``instrument`` belongs to the instruments' own reader; any other is one of these. Keys
that a fault does not use are refused, keys that it needs are asked for. Faults of the computer are
only announced: see `simulated_bench.instruments.control`.
"""

from typing import Any, Final, Literal, Self, get_args

from pydantic import BaseModel, ConfigDict, Field, model_validator

from simulated_bench.quantities import (
    BenchTime,
    Kelvins,
    Ratio,
    Seconds,
    SecondsOfEitherSign,
    Uncertain,
    Volts,
)

UnitWhat = Literal[
    "pass element short",
    "pass element open",
    "dead diode",
    "dried-out reservoir",
    "reference leak",
    "trimmer jump",
    "sense lead open",
    "leaky limit transistor",
    "oscillation",
    "loose heatsink",
    "thermal runaway",
]

RoomWhat = Literal[
    "line failure",
    "line surge",
    "line sag",
    "door opened",
    "smoke",
    "interlock opened",
    "emergency stop",
    "clock step",
    "disk full",
]

What = Literal[UnitWhat, RoomWhat]
ROOM: Final = frozenset(get_args(RoomWhat))
TRIGGERS: Final = ("at", "after_queries", "probability")

NEEDS: Final[dict[str, tuple[str, ...]]] = {
    "dried-out reservoir": ("to",),
    "reference leak": ("by", "over"),
    "trimmer jump": ("step",),
    "leaky limit transistor": ("to",),
    "oscillation": ("step",),
    "loose heatsink": ("to",),
    "thermal runaway": ("to",),
    "line surge": ("by", "lasts"),
    "line sag": ("by", "lasts"),
    "door opened": ("drop", "over"),
    "clock step": ("shift",),
}
"""Keys without which a fault says too little."""

MAY: Final[dict[str, tuple[str, ...]]] = {
    "sense lead open": ("side", "lasts"),
    "line failure": ("lasts",),
    "smoke": ("lasts",),
    "interlock opened": ("lasts",),
    "emergency stop": ("lasts",),
    "disk full": ("lasts",),
}
"""Keys that a fault can do without."""


class UnitFaultTable(BaseModel):
    """Something that happens to the unit or in the room.

    It begins `at` a bench time, with the query `after_queries` others to any instrument, or at each
    query with a `probability`.

    `to` is the part that is left of the reservoir's capacitance, or the factor on the limit's
    rounding current or on the heatsink's thermal resistance; `by` a relative change, `step` a
    voltage (RMS for an oscillation), `drop` a temperature difference, `over` a time constant,
    `side` a sense lead, `shift` how far the computer's clock jumps. What `lasts` is undone after
    that. A spread, as in ``at = "2 h ± 1 h"``, is drawn from the bench's seed.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    what: What
    at: BenchTime | None = None
    after_queries: int | None = Field(default=None, ge=0)
    probability: Ratio | None = None
    lasts: Seconds | None = None
    to: Ratio | None = None
    by: Ratio | None = None
    step: Volts | None = None
    drop: Kelvins | None = None
    over: Seconds | None = None
    side: Literal["plus", "minus", "both"] | None = None
    shift: SecondsOfEitherSign | None = None

    @property
    def instrument(self) -> str:
        """What has the fault, as a log says it: the unit or the room."""
        return "room" if self.what in ROOM else "unit"

    def dated(self, time_s: float) -> Self:
        """Return the same that begins at a bench time."""
        when = dict.fromkeys(TRIGGERS) | {"at": Uncertain(time_s)}
        return self.model_copy(update=when)

    @property
    def begins_s(self) -> float:
        """The bench time at which it begins or began; 0 when nothing is said."""
        return 0.0 if self.at is None else self.at.nominal

    @model_validator(mode="after")
    def _fits(self) -> Self:
        given = {key for key, value in self if value is not None} - {"what"}
        if len(given & set(TRIGGERS)) != 1:
            raise ValueError(f"expected exactly one of {', '.join(TRIGGERS)}")
        given -= set(TRIGGERS)
        needs, may = NEEDS.get(self.what, ()), MAY.get(self.what, ())
        missing = [key for key in needs if key not in given]
        odd = sorted(given - set(needs) - set(may))
        if missing:
            raise ValueError(f"found no {', '.join(missing)}, expected it with '{self.what}'")
        if odd:
            known = ", ".join((*needs, *may)) or "only what and when"
            raise ValueError(f"found {', '.join(odd)}, expected {known} with '{self.what}'")
        if self.probability is not None and not 0.0 < self.probability.nominal <= 1.0:
            raise ValueError("probability: expected more than 0 % and at most 100 %")
        if self.to is not None and self.to.nominal <= 0.0:
            raise ValueError("to: expected more than 0")
        if self.by is not None and self.by.nominal <= 0.0:
            raise ValueError("by: expected more than 0; the fault's name says the direction")
        return self


def kind_of(table: Any) -> str:  # whatever the document holds
    """Return whose fault a table is: "instrument" or "unit"."""
    return "instrument" if isinstance(table, dict) and "instrument" in table else "unit"
