"""The bench's leads: a resistance, or a length and a cross-section of copper."""

from typing import Self

from pydantic import Field, model_validator

from sequencer.documents.flaws import Flaw, raise_flaws
from sequencer.documents.quantities import PositiveMetres, PositiveOhms, PositiveSquareMetres
from sequencer.documents.tables import Strict

COPPER_OHM_M = 1e-6 / 58
"""Resistivity of annealed copper at 20 °C: 1/58 Ω·mm²/m (IEC 60028)."""

CONDUCTORS = 2
"""A lead is a pair: there and back."""


class Leads(Strict):
    """A pair of leads; `resistance` is that of both conductors together."""

    resistance: PositiveOhms | None = None
    length: PositiveMetres | None = Field(default=None, description="Length of the pair.")
    cross_section: PositiveSquareMetres | None = None

    @model_validator(mode="after")
    def _one_way_or_the_other(self) -> Self:
        drawn = self.length is not None and self.cross_section is not None
        half = (self.length is None) != (self.cross_section is None)
        if half or drawn == (self.resistance is not None):
            given = " and ".join(sorted(self.model_fields_set)) or "nothing"
            wanted = "either resistance, or length and cross_section"
            raise_flaws([Flaw((), given, wanted)])
        return self

    @property
    def resistance_ohm(self) -> float:
        """The resistance of both conductors together, at 20 °C."""
        if self.resistance is not None:
            return self.resistance
        if self.length is None or self.cross_section is None:
            raise AssertionError("validated: either a resistance or a length and a cross-section")
        return CONDUCTORS * self.length * COPPER_OHM_M / self.cross_section


class Wiring(Strict):
    """The leads from the unit to the load; what is not said is not known."""

    load_leads: Leads | None = None
    sense_leads: Leads | None = None
