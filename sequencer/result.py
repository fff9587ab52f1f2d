"""The result of one run, complete: whatever an output shows is here, and it computes nothing."""

from collections.abc import Mapping
from dataclasses import dataclass

from sequencer.results import Chart, Event, Figure, Rule, Tripped, Verdict


@dataclass(frozen=True, slots=True)
class UnitSummary:
    """The unit under test in words; `ratings` are label and value, such as ("Voltage", "30 V")."""

    tag: str
    description: str
    ratings: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class InstrumentRow:
    """One instrument: `identity` is its own answer to *IDN?, empty where it has none.

    `dialect` is its name, what the bench says of its link, and the beginning of a digest of all
    that the record keeps of it.
    """

    name: str
    role: str
    address: str
    identity: str = ""
    dialect: str = ""


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """One channel in words: range, integration time and accuracy as text with units."""

    channel: str
    instrument: str
    range: str = ""
    integration: str = ""
    accuracy: str = ""


@dataclass(frozen=True, slots=True)
class BenchSummary:
    """What was on the table."""

    name: str
    description: str
    instruments: tuple[InstrumentRow, ...] = ()
    channels: tuple[ChannelRow, ...] = ()


UNSEALED = "record not sealed"
"""Outcome of a run whose readings are all kept, but whose record lacks its end."""


@dataclass(frozen=True, slots=True)
class Result:
    """Everything that was found in one run.

    `record` is the path of the record, `started` and `ended` wall times as ISO 8601 text (`ended`
    empty where the run did not end by itself), `software` names and versions, `outcome` the run's
    outcome in a word or two ("pass", "fail", "not covered", "stopped by a guard", …), `exit` the
    exit code that belongs to it. `cautions` are shown as they are; `notes` are remarks on the run.
    `simulated` says that no real unit was measured, and by what instead; empty on a real bench.
    `alarm` is what somebody at the bench has to know before anything else, such as that making
    safe is not verified; empty where there is nothing. `guard` ended the run, if one did;
    `made_safe` is whether making safe was verified at the end, None where it is not in the record.
    `digest` is the record's, empty if unsealed.
    """

    record: str
    profile: str
    started: str
    ended: str
    software: Mapping[str, str]
    unit: UnitSummary
    bench: BenchSummary
    rule: Rule
    outcome: str
    exit: int
    figures: tuple[Figure, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    charts: tuple[Chart, ...] = ()
    events: tuple[Event, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    simulated: str = ""
    alarm: str = ""
    guard: Tripped | None = None
    made_safe: bool | None = None
    digest: str = ""
