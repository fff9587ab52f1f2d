"""Recognise an instrument by asking: who it is, how its link behaves, which dialects fit.

Only questions are asked that change no setting: the identity, the read-back questions of the
shipped dialects, and what a dialect marks as harmless. A question that an instrument doesn't know
leaves an error in its queue, which is emptied at the end.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from drivers.answers import number_parser, token
from drivers.dialect import Dialect, Link, Question
from drivers.dialect_files import read_dialect, shipped
from drivers.errors import LINK_FAILURES, DamagedAnswer, InstrumentError, NoAnswer
from drivers.instrument import ERROR, MOST_ERRORS
from drivers.roles import InstrumentSpec
from drivers.session import Session

PATIENCE_S = 2.0
"""For the first answer, where everything is still unknown."""
QUESTION_S = 0.5
"""For every other: an instrument that knows a read-back question answers at once."""
ERROR_QUESTION = "SYSTem:ERRor?"

ENDINGS = ("\n", "\r\n", "\r")
"""Ends of messages in the order in which they are tried."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One question, what came back (None for nothing) and whether it is as a dialect declares."""

    question: str
    answer: str | None
    fits: bool


@dataclass(frozen=True, slots=True)
class Fit:
    """How well a dialect describes the instrument."""

    dialect: str
    roles: tuple[str, ...]
    description: str
    evidence: tuple[Evidence, ...]

    @property
    def certainty(self) -> float:
        """The share of the dialect's harmless questions that were answered as it declares."""
        return sum(one.fits for one in self.evidence) / len(self.evidence)


@dataclass(frozen=True, slots=True)
class Probed:
    """What was found at an address; fits in falling certainty."""

    address: str
    identity: str
    link: Mapping[str, object]
    fits: tuple[Fit, ...]
    left_in_queue: tuple[str, ...] = field(default=())


def harmless(dialect: Dialect) -> tuple[Question, ...]:
    """Return the questions of a dialect that change nothing and need nothing filled in."""
    settings = (one.read_back for one in dialect.settings.values() if one.read_back is not None)
    questions = (one for one in dialect.questions.values() if one.harmless)
    return tuple(one for one in (*settings, *questions) if "{" not in one.ask)


def probe(
    address: str,
    *,
    backend: str = "@py",
    on_progress: Callable[[int, int], None] = lambda _done, _of: None,
) -> Probed:
    """Ask an instrument who it is and which shipped dialects fit it.

    Raises
    ------
    InstrumentError
        When nothing answers to *IDN? there with any of the usual line ends.
    """
    session = _first_contact(address, backend)
    try:
        asked = sorted({one.ask for name in shipped() for one in harmless(read_dialect(name))})
        heard: dict[str, bytes | None] = {}
        queue = _ask(session, ERROR_QUESTION)
        for number, text in enumerate(asked):
            on_progress(number, len(asked))
            heard[text] = _ask(session, text)
        on_progress(len(asked), len(asked))
        has_queue = queue is not None and ERROR.match(queue.decode("latin-1")) is not None
        left = tuple(_emptied(session)) if has_queue else ()
    finally:
        session.close()
    manners = session.manners
    link: dict[str, object] = {
        key: getattr(manners, key)
        for key in ("read_terminator", "write_terminator", "echo")
        if getattr(manners, key) != Link.model_fields[key].default
    }
    if not has_queue:
        link["error_queue"] = False
    fits = (_fit(name, read_dialect(name), heard) for name in shipped())
    ordered = sorted(
        (one for one in fits if one is not None and one.certainty > 0),
        key=lambda one: (-one.certainty, -len(one.evidence)),
    )
    return Probed(address, session.identity, link, tuple(ordered), left)


def reachable(backend: str = "@py") -> tuple[str, ...]:
    """Return the addresses that the VISA library finds; raw sockets can't be found, only tried."""
    import warnings  # noqa: PLC0415

    from drivers.link import resource_manager  # noqa: PLC0415

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about optional packages that would find more
        return tuple(resource_manager(backend).list_resources("?*::INSTR"))


def _first_contact(address: str, backend: str) -> Session:
    """Open with the line ends and the echo that the instrument has."""
    failure: InstrumentError | None = None
    for ending in ENDINGS:
        answer_end = "\r" if ending == "\r" else "\n"
        session = _session(
            address, backend, Link(write_terminator=ending, read_terminator=answer_end)
        )
        try:
            session.open()
        except NoAnswer as error:
            failure = error
            continue
        except DamagedAnswer as error:
            found = _repaired(session.manners, error)
            if found is None:
                failure = error
                continue
            session = _session(address, backend, found)
            session.open()
        return session
    raise failure  # type: ignore[misc]  # every turn that comes here has left one


def _session(address: str, backend: str, manners: Link) -> Session:
    spec = InstrumentSpec("instrument", "", "", address, timeout_s=PATIENCE_S)
    return Session(spec, manners=manners, backend=backend)


def _repaired(manners: Link, error: DamagedAnswer) -> Link | None:
    """Return the manners that make a first answer readable, or None where nothing does."""
    answer = error.answer or ""
    change: dict[str, object] = {}
    if answer.endswith("\r"):
        change["read_terminator"] = "\r\n"
    if answer.strip() == "*IDN?":
        change["echo"] = True
    return manners.model_copy(update=change) if change else None


def _ask(session: Session, text: str) -> bytes | None:
    """Return the answer to a question, or None when none came that can be read."""
    try:
        return session.query(session.encode(text), QUESTION_S)
    except LINK_FAILURES:
        return None  # the next question opens a new link


def _emptied(session: Session) -> Iterator[str]:
    for _ in range(MOST_ERRORS):
        answer = _ask(session, ERROR_QUESTION)
        if answer is None or re.match(rb"[+-]?0+\s*(,|$)", answer):
            return
        yield answer.decode("latin-1")


def _fit(name: str, dialect: Dialect, heard: Mapping[str, bytes | None]) -> Fit | None:
    questions = harmless(dialect)
    if not questions:
        return None
    evidence = []
    for question in questions:
        answer = heard[question.ask]
        shown = None if answer is None else answer.decode("latin-1")
        evidence.append(
            Evidence(question.ask, shown, answer is not None and _fits(question, answer))
        )
    return Fit(name, dialect.roles, dialect.description, tuple(evidence))


def _fits(question: Question, answer: bytes) -> bool:
    try:
        if question.tokens:
            token(answer, question.tokens)
        elif question.suffixes and re.search(rb"[A-Za-z]\s*$", answer) is None:
            return False  # a plain number would be read, but is not what sets this dialect apart
        else:
            number_parser(question.suffixes, question.overload_texts, question.factor)(answer)
    except ValueError:
        return False
    return True
