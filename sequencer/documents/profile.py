"""The profile document: which trials to run on which unit and bench, and what to write."""

from collections.abc import Iterator, Mapping
from typing import Any, Literal

from pydantic import Field, StrictBool, StrictInt, model_validator

from sequencer.documents.flaws import Flaw
from sequencer.documents.guards import Guards
from sequencer.documents.parsing import quoted
from sequencer.documents.quantities import PositiveSeconds
from sequencer.documents.tables import Strict

MOST_TYPED = 300
"""About an hour of typing; more has to be wanted."""


class ProfileTable(Strict):
    """What the profile is; `unit` and `bench` are shipped names or paths relative to this file.

    `typed_at_most`: a run in which a person would have to type more values is refused.
    """

    name: str = Field(min_length=1)
    description: str = ""
    unit: str = Field(min_length=1)
    bench: str = Field(min_length=1)
    rule: Literal["guarded", "simple"] = "guarded"
    typed_at_most: StrictInt = Field(default=MOST_TYPED, ge=0)


class Outputs(Strict):
    """What is written beside the record."""

    report: StrictBool = True
    readings_csv: StrictBool = False


class Resume(Strict):
    """When a soak may go on after the run was interrupted.

    `gap_at_most`: after a longer gap the interrupted trial starts over. `warm_up_again`: how long
    the unit is loaded anew before a soak goes on, where it lost its energy meanwhile; the trial's
    own warm-up by default.
    """

    gap_at_most: PositiveSeconds = 1800.0
    warm_up_again: PositiveSeconds | None = None


class Unattended(Strict):
    """What has to be there before nobody is."""

    guards: tuple[str, ...] = Field(
        default=(), description="Quantities that a document must bound, by name."
    )
    interlocks: tuple[str, ...] = Field(
        default=(), description="Safety inputs that the bench must have, such as interlock.smoke."
    )
    notification: StrictBool = False


class TrialEntry(Strict):
    """One trial with its own settings, which the trial's model reads later."""

    trial: str = Field(min_length=1)
    settings: Mapping[str, Any] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def _apart(cls, data: Any) -> Any:  # anything may stand in a document
        """Take the trial's own settings apart from its name."""
        if not isinstance(data, Mapping):
            return data
        rest = {key: value for key, value in data.items() if key != "trial"}
        return {"settings": rest} | ({"trial": data["trial"]} if "trial" in data else {})


class ProfileDocument(Strict):
    """The profile."""

    profile: ProfileTable
    guards: Guards = Field(default_factory=dict)
    outputs: Outputs = Outputs()
    unattended: Unattended | None = None
    resume: Resume = Resume()
    trials: tuple[TrialEntry, ...] = Field(min_length=1)

    @classmethod
    def crossed(cls, data: Mapping[str, Any]) -> Iterator[Flaw]:
        """Look for a trial that stands twice: figures and verdicts go by the trial's name."""
        trials = data.get("trials")
        entries = trials if isinstance(trials, list) else []
        names = [e.get("trial") if isinstance(e, Mapping) else None for e in entries]
        for index, name in enumerate(names):
            if name is not None and name in names[:index]:
                expected = "each trial once (put a second one into a profile of its own)"
                yield Flaw(("trials", index, "trial"), quoted(name), expected)
