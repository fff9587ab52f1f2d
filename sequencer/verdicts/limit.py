"""A limit as verdicts see it."""

from typing import Protocol

from sequencer.verdicts.coverage import Condition


class Limit(Protocol):
    """A promise of the unit: the figure's resolved name, bounds at a setting, its condition."""

    @property
    def figure(self) -> str: ...  # noqa: D102
    @property
    def unit(self) -> str: ...  # noqa: D102
    @property
    def condition(self) -> Condition | None: ...  # noqa: D102
    def lower(self, setting: float) -> float | None: ...  # noqa: D102
    def upper(self, setting: float) -> float | None: ...  # noqa: D102
