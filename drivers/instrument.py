"""An instrument as its dialect describes it: questions, actions and the error queue."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from drivers.answers import Parser, number_parser, token
from drivers.dialect import Dialect, Question, Setting
from drivers.errors import (
    LINK_FAILURES,
    InstrumentError,
    RefusedSetting,
    UnknownDialect,
)
from drivers.patience import Patience
from drivers.platinum import platinum_parser
from drivers.session import EventSink, Session
from drivers.thermocouple import COEFFICIENTS, thermocouple_parser

T = TypeVar("T")

ERROR = re.compile(r"[+-]?\d+\s*(,|$)")
"""An entry of the error queue: number, comma, text (SCPI-1999, SYSTem:ERRor)."""

MOST_ERRORS = 100
"""A queue that still holds something after so many questions is not emptying."""


@dataclass(frozen=True, slots=True)
class Asking:
    """A question ready to be sent: text, bytes, how long its answer may take, how to read it."""

    text: str
    message: bytes
    timeout_s: float
    parse: Parser


def _parser(question: Question, *, as_volts: bool) -> Parser:
    plain = number_parser(question.suffixes, question.overload_texts, question.factor)
    if as_volts:
        return plain
    match question.convert:
        case None:
            return plain
        case "platinum":
            return platinum_parser(plain, question.nominal)
        case kind:
            return thermocouple_parser(plain, kind, question.reference)


def compound(messages: Iterable[str]) -> str:
    """Join messages into one; each starts at the root again (SCPI-1999, volume 1, headers)."""
    return ";".join(text if text.startswith(("*", ":")) else f":{text}" for text in messages)


class Instrument:
    """A session together with the dialect that is spoken on it."""

    def __init__(
        self,
        session: Session,
        dialect: Dialect,
        on_event: EventSink,
        patience: Patience | None = None,
    ) -> None:
        self.session = session
        self.dialect = dialect
        self.patience = patience or Patience()
        self._on_event = on_event
        self.ranges: dict[tuple[str, str | None, float], float] = {}
        """Read back for a setting, its input and the value asked for, where more will do."""

    @property
    def name(self) -> str:
        """The instrument's name in the bench document."""
        return self.session.spec.name

    def question(self, name: str) -> Question:
        """Return a question of the dialect.

        Raises
        ------
        UnknownDialect
            When the dialect has none of that name.
        """
        try:
            return self.dialect.questions[name]
        except KeyError:
            raise self.lacks(f"question {name!r}", self.dialect.questions) from None

    def setting(self, name: str) -> Setting:
        """Return a setting of the dialect; raises UnknownDialect when there is none."""
        try:
            return self.dialect.settings[name]
        except KeyError:
            raise self.lacks(f"setting {name!r}", self.dialect.settings) from None

    def asking(
        self,
        name: str,
        *,
        value: float | None = None,
        input_: str | None = None,
        more_s: float = 0,
        as_volts: bool = False,
    ) -> Asking:
        """Prepare a question whose answer is a number; `more_s` is added to its time-out.

        A thermocouple's answer is left `as_volts` where its terminals' temperature comes later.

        Raises
        ------
        UnknownDialect
            When the dialect has no such question, or wants volts of what gives none.
        """
        question = self.question(name)
        if as_volts and question.convert not in COEFFICIENTS:
            raise self.lacks(f"thermocouple behind {name!r}, which a reference needs", {})
        spec = self.session.spec
        text = self.filled(question.ask, question, value, input_)
        return Asking(
            text=text,
            message=self.session.encode(text),
            timeout_s=max(spec.timeout_s, question.timeout or 0.0) + more_s,
            parse=_parser(question, as_volts=as_volts),
        )

    def number(self, asking: Asking) -> float:
        """Ask for a number now; an overload or no number is NaN."""
        answer = self.session.query(asking.message, asking.timeout_s)
        try:
            return asking.parse(answer)[0]
        except ValueError as error:
            raise self.unreadable(asking.message, answer, error) from error

    def word(self, name: str, input_: str | None = None) -> str:
        """Ask a question whose answer is one of the dialect's tokens; return the token's name."""
        question = self.question(name)
        message = self.session.encode(self.filled(question.ask, question, None, input_))
        answer = self.session.query(message)
        try:
            return token(answer, question.tokens)
        except ValueError as error:
            raise self.unreadable(message, answer, error) from error

    def text(self, name: str) -> str:
        """Ask a question whose answer is text."""
        question = self.question(name)
        message = self.session.encode(self.filled(question.ask, question, None, None))
        return self.session.query(message).decode("ascii", "replace").strip()

    def act(self, name: str, *, confirmed: bool, **fields: str) -> None:
        """Send one of the dialect's actions; `confirmed` then reads the error queue.

        Raises
        ------
        RefusedSetting
            When an error stands in the queue.
        """
        self.session.tell(self.session.encode(self.dialect.actions[name].format(**fields)))
        if confirmed and self.dialect.errors is not None:
            self.refuse_error(self.session.query(self.session.encode(self.dialect.errors.ask)))

    def unreadable(self, message: bytes, answer: bytes, reason: ValueError) -> InstrumentError:
        """Return the error for an answer that can't be read; the session is closed."""
        return self.session.damaged(message, answer, str(reason))

    def once_more(self, operation: Callable[[], T]) -> T:
        """Do something that may be repeated; after a failed link as often as patience says."""
        try:
            return operation()
        except LINK_FAILURES as error:
            return self.patience.again(self, operation, error, self._on_event)

    def errors(self) -> tuple[str, ...]:
        """Empty the error queue; return what stood there, each as `instrument: number, text`.

        Raises
        ------
        DamagedAnswer
            When the queue does not come to its end.
        """
        if self.dialect.errors is None:
            return ()
        message = self.session.encode(self.dialect.errors.ask)
        found: list[str] = []
        while not self._is_no_error(text := self.session.query_text(message)):
            found.append(f"{self.name}: {text}")
            if len(found) >= MOST_ERRORS:
                raise self.session.damaged(message, text.encode(), "the error queue does not end")
        return tuple(found)

    def refuse_error(self, answer: bytes) -> None:
        """Raise unless an answer from the error queue says that it is empty.

        Raises
        ------
        RefusedSetting
            With everything that stood in the queue.
        DamagedAnswer
            When the answer is none that an error queue gives.
        """
        text = answer.decode("latin-1")
        if self._is_no_error(text):
            return
        rest = self.errors()
        raise self.session.error(
            RefusedSetting,
            "an error stands in its queue after setting: " + "; ".join((text, *rest)),
            None,
            answer,
            "See the instrument's manual for this error; the dialect may not fit.",
        )

    def _is_no_error(self, text: str) -> bool:
        queue = self.dialect.errors
        if queue is None or re.match(queue.none, text):
            return True
        if not ERROR.match(text):
            message = self.session.encode(queue.ask)
            raise self.session.damaged(
                message, text.encode("latin-1"), "an error's number was expected"
            )
        return False

    def filled(
        self, template: str, question: Question, value: float | None, input_: str | None
    ) -> str:
        """Return a question's text with its value and input filled in."""
        fields = {} if value is None else {"value": format(value, question.format)}
        return self.formatted(template, fields | ({} if input_ is None else {"input": input_}))

    def formatted(self, template: str, fields: Mapping[str, str]) -> str:
        """Return a message with its placeholders filled; raises UnknownDialect for one too many."""
        try:
            return template.format(**fields)
        except KeyError as error:
            raise self.session.error(
                UnknownDialect,
                f"the message {template!r} needs {error}, which the bench document does not give",
                None,
                None,
                "Give the channel an 'input', or use another dialect.",
            ) from None

    def lacks(self, what: str, there: Mapping[str, object]) -> InstrumentError:
        """Return the error for something that the dialect doesn't have."""
        return self.session.error(
            UnknownDialect,
            f"dialect {self.session.spec.dialect!r} has no {what}",
            None,
            None,
            f"It has: {', '.join(there) or 'none'}. Use or write a dialect that has it.",
        )
