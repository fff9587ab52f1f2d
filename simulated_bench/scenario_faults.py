"""What a scenario's ``[[faults]]`` may say about the unit and the room.

A table with ``instrument`` belongs to the instruments' own reader; any other is one of these. Keys
that a fault does not use are refused, keys that it needs are asked for.
"""

from typing import Any, Final, Literal, Self

from pydantic import BaseModel, ConfigDict, model_validator

from simulated_bench.quantities import BenchTime, Kelvins, Ratio, Seconds, Volts

What = Literal[
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
    "line failure",
    "line surge",
    "line sag",
    "door opened",
    "smoke",
    "interlock opened",
]

NEEDS: Final[dict[str, tuple[str, ...]]] = {
    "dried-out reservoir": ("to",),
    "reference leak": ("by", "over"),
    "trimmer jump": ("step",),
    "leaky limit transistor": ("to",),
    "oscillation": ("step",),
    "loose heatsink": ("to",),
    "line surge": ("by", "lasts"),
    "line sag": ("by", "lasts"),
    "door opened": ("drop", "over"),
}
"""Keys without which a fault says too little."""

MAY: Final[dict[str, tuple[str, ...]]] = {
    "sense lead open": ("side", "lasts"),
    "line failure": ("lasts",),
    "smoke": ("lasts",),
    "interlock opened": ("lasts",),
}
"""Keys that a fault can do without."""


class UnitFaultTable(BaseModel):
    """Something that happens to the unit or in the room at a bench time.

    `to` is the part that is left of the reservoir's capacitance, or the factor on the limit's
    rounding current or on the heatsink's thermal resistance; `by` a relative change, `step` a
    voltage (RMS for an oscillation), `drop` a temperature difference, `over` a time constant,
    `side` a sense lead. What `lasts` is undone after that. A spread, as in ``at = "2 h ± 1 h"``,
    is drawn from the bench's seed.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    at: BenchTime
    what: What
    lasts: Seconds | None = None
    to: Ratio | None = None
    by: Ratio | None = None
    step: Volts | None = None
    drop: Kelvins | None = None
    over: Seconds | None = None
    side: Literal["plus", "minus", "both"] | None = None

    @model_validator(mode="after")
    def _fits(self) -> Self:
        given = {key for key, value in self if value is not None} - {"at", "what"}
        needs, may = NEEDS.get(self.what, ()), MAY.get(self.what, ())
        missing = [key for key in needs if key not in given]
        odd = sorted(given - set(needs) - set(may))
        if missing:
            raise ValueError(f"found no {', '.join(missing)}, expected it with '{self.what}'")
        if odd:
            known = ", ".join((*needs, *may)) or "only at and what"
            raise ValueError(f"found {', '.join(odd)}, expected {known} with '{self.what}'")
        if self.to is not None and self.to.nominal <= 0.0:
            raise ValueError("to: expected more than 0")
        if self.by is not None and self.by.nominal <= 0.0:
            raise ValueError("by: expected more than 0; the fault's name says the direction")
        return self


def kind_of(table: Any) -> str:  # whatever the document holds
    """Return whose fault a table is: "instrument" or "unit"."""
    return "instrument" if isinstance(table, dict) and "instrument" in table else "unit"
