"""The one error tree of the sequencer; each error knows the exit code it ends the program with."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum


class Exit(IntEnum):
    """Exit codes of every command."""

    PASSED = 0
    FAILED = 1
    WRONG_USE = 2
    UNDECIDED = 3
    GUARD = 4
    INSTRUMENT = 5
    OWN_FAULT = 70
    """sysexits.h, EX_SOFTWARE: the program itself is wrong, which says nothing about a unit."""
    INTERRUPTED = 130


class SteadyrailError(Exception):
    """What was found, where, what was expected and what to do, in one paragraph."""

    exit_code: Exit = Exit.WRONG_USE


class UsageError(SteadyrailError):
    """The command was called in a way that can't be carried out."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake in a document: where it stands, what was found, what was expected."""

    file: str
    key_path: str
    found: str
    expected: str

    def __str__(self) -> str:
        """Return the line that the user reads."""
        return f"{self.file}: {self.key_path}: found {self.found}, expected {self.expected}"


class DocumentError(SteadyrailError):
    """One or more documents can't be used; all mistakes are listed at once."""

    def __init__(self, mistakes: tuple[Mistake, ...]) -> None:
        super().__init__("\n".join(str(mistake) for mistake in mistakes))
        self.mistakes = mistakes


class RecordError(SteadyrailError):
    """A record can't be written, read or trusted."""


class RecordSealed(RecordError):
    """Nothing can be added to a record: its run is finished."""


class RecordFailed(SteadyrailError):
    """The record could not be written while a run was going on; the bench was made safe."""

    exit_code = Exit.INSTRUMENT


class FigureError(SteadyrailError):
    """A figure can't be computed from what was measured; says what is missing."""


class TrialStopped(SteadyrailError):
    """A trial can't go on, though no guard and no instrument failed; its limits stay open."""

    exit_code = Exit.UNDECIDED


class GuardTripped(SteadyrailError):
    """A watched bound was crossed; the bench has been asked to make safe.

    `detail` is for other programs: `guard` (the channel), `reason`, `at` (bench time, s), and where
    there are any `value`, `bound` (in the channel's `unit`, rates per second) and `source`, the
    documents that state the bound.
    """

    exit_code = Exit.GUARD

    def __init__(self, text: str, **detail: str | float) -> None:
        super().__init__(text)
        self.detail: Mapping[str, str | float] = detail


class BenchFailed(SteadyrailError):
    """An instrument or its link failed, named with its address."""

    exit_code = Exit.INSTRUMENT


class GuardianLost(SteadyrailError):
    """The process that would make the bench safe in this one's place is gone."""

    exit_code = Exit.INSTRUMENT


NO_MEMORY = "The computer has no memory left. Free some, then resume."


class ComputerFailed(SteadyrailError):
    """The computer itself can't go on: no memory, asleep for too long."""

    exit_code = Exit.INSTRUMENT


class Interrupted(SteadyrailError):
    """A person or the system stopped the run."""

    exit_code = Exit.INTERRUPTED
