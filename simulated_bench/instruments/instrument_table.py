"""What every instrument's table in a scenario has; the kinds are in `tables` and `more_tables`."""

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from simulated_bench.quantities import Seconds, Uncertain, parse


def usual(text: str, dimension: str) -> Any:  # pydantic checks what a default is given for
    """Return a default, written as in a scenario."""
    return Field(default=parse(text, dimension))


Trait = Literal[
    "cr lf", "unit suffix", "echo", "no error queue", "slow first answer", "remote lock"
]
"""Ways that any instrument may have; see `simulated_bench.scpi.manners`."""


class InstrumentTable(BaseModel):
    """What every instrument has."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    clients: int = Field(default=8, ge=1, le=64)
    """Connections at a time; one more is closed at once."""
    identity: str | None = Field(default=None, pattern=r"^[ -~]{1,72}$")
    queue_length: int = Field(default=20, ge=2, le=1000)
    first_answer: Seconds = usual("1.5 s", "s")
    """With the trait "slow first answer": how long a new client waits, by the computer's clock."""
    traits: tuple[str, ...] = ()
    """What makes this instrument differ from one that follows the standards; see each kind."""


class PlainTable(InstrumentTable):
    """An instrument with one command tree."""

    traits: tuple[Trait, ...] = ()


def drawn(quantity: Uncertain, uniform: float) -> float:
    """Return the error that a uniform number from −1 to 1 picks within a half-width."""
    return quantity.nominal * uniform
