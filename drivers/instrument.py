"""An instrument as its dialect describes it: questions, settings that are read back, errors."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from drivers.answers import Parser, number_parser, token
from drivers.dialect import Dialect, Question, Setting
from drivers.errors import (
    LINK_FAILURES,
    InstrumentError,
    NoAnswer,
    RefusedSetting,
    UnknownDialect,
)
from drivers.session import EventSink, Session

T = TypeVar("T")

FORMAT_LOSS = 1e-5
"""What six significant digits, a setting's usual format, may lose."""

MOST_ERRORS = 100
"""A queue that still holds something after so many questions is not emptying."""


@dataclass(frozen=True, slots=True)
class Asking:
    """A question ready to be sent: text, bytes, how long its answer may take, how to read it."""

    text: str
    message: bytes
    timeout_s: float
    parse: Parser


@dataclass(frozen=True, slots=True)
class Change:
    """A setting to be made: its name in the dialect, the value, and the input it is for."""

    setting: str
    value: float | str
    input: str | None = None


def compound(messages: Iterable[str]) -> str:
    """Join messages into one; each starts at the root again (IEEE 488.2; SCPI-1999, 6.2.4)."""
    return ";".join(text if text.startswith(("*", ":")) else f":{text}" for text in messages)


def _read(question: Question, answer: bytes) -> float | str:
    """Return a token's name or a number; raises ValueError with the reason."""
    if question.tokens:
        return token(answer, question.tokens)
    return number_parser(question.suffixes, question.overload_texts)(answer)[0]


def _agrees(setting: Setting, wanted: float | str, got: float | str) -> bool:
    if isinstance(wanted, str) or isinstance(got, str):
        return got == wanted
    allowed = setting.absolute + (setting.relative + FORMAT_LOSS) * abs(wanted)
    if setting.compare == "at least":
        return got >= wanted - allowed
    return abs(got - wanted) <= allowed


class Instrument:
    """A session together with the dialect that is spoken on it."""

    def __init__(self, session: Session, dialect: Dialect, on_event: EventSink) -> None:
        self.session = session
        self.dialect = dialect
        self._on_event = on_event
        self._no_error = re.compile(dialect.errors.none) if dialect.errors else None

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
            raise self._lacks(f"question {name!r}", self.dialect.questions) from None

    def setting(self, name: str) -> Setting:
        """Return a setting of the dialect; raises UnknownDialect when there is none."""
        try:
            return self.dialect.settings[name]
        except KeyError:
            raise self._lacks(f"setting {name!r}", self.dialect.settings) from None

    def asking(
        self, name: str, *, value: float | None = None, input_: str | None = None, more_s: float = 0
    ) -> Asking:
        """Prepare a question whose answer is a number; `more_s` is added to its time-out."""
        question = self.question(name)
        spec = self.session.spec
        text = self._filled(question.ask, question, value, input_)
        return Asking(
            text=text,
            message=self.session.encode(text),
            timeout_s=max(spec.timeout_s, question.timeout or 0.0) + more_s,
            parse=number_parser(question.suffixes, question.overload_texts),
        )

    def number(self, asking: Asking) -> float:
        """Ask for a number now; an overload or no number is NaN."""
        answer = self.session.query(asking.message, asking.timeout_s)
        try:
            return asking.parse(answer)[0]
        except ValueError as error:
            raise self.unreadable(asking.message, answer, error) from error

    def word(self, name: str) -> str:
        """Ask a question whose answer is one of the dialect's tokens; return the token's name."""
        question = self.question(name)
        message = self.session.encode(question.ask)
        answer = self.session.query(message)
        try:
            return token(answer, question.tokens)
        except ValueError as error:
            raise self.unreadable(message, answer, error) from error

    def act(self, name: str, *, confirmed: bool, **fields: str) -> None:
        """Send one of the dialect's actions; `confirmed` then reads the error queue.

        Raises
        ------
        RefusedSetting
            When an error stands in the queue.
        """
        self.session.tell(self.session.encode(self.dialect.actions[name].format(**fields)))
        if confirmed and self.dialect.errors is not None:
            self._refuse_error(self.session.query(self.session.encode(self.dialect.errors.ask)))

    def unreadable(self, message: bytes, answer: bytes, reason: ValueError) -> InstrumentError:
        """Return the error for an answer that can't be read; the session is closed."""
        return self.session.damaged(message, answer, str(reason))

    def once_more(self, operation: Callable[[], T]) -> T:
        """Do something that may be repeated; after a failed link do it a second time."""
        try:
            return operation()
        except LINK_FAILURES as error:
            self._on_event("asked again", str(error))
            return operation()

    def change(self, changes: Sequence[Change]) -> dict[str, float | str]:
        """Make settings in the given order, read each back and read the error queue.

        Returns what the instrument says, by the setting's name; what can't be read back is given
        as it was set.

        Raises
        ------
        RefusedSetting
            When something read back differs, or an error stands in the queue.
        """
        if not changes:
            return {}
        said: dict[str, float | str] = {}
        readers: list[tuple[str, Callable[[bytes], None]]] = []
        for change in changes:
            setting = self.setting(change.setting)
            spelled = self._spelled(setting, change)
            self.session.tell(self.session.encode(spelled))
            said[change.setting] = change.value
            if setting.read_back is not None:
                ask = self._filled(setting.read_back.ask, setting.read_back, None, change.input)
                readers.append((ask, partial(self._compare, said, setting, change, spelled)))
        if self.dialect.errors is not None:
            readers.append((self.dialect.errors.ask, self._refuse_error))
        try:
            self._ask_all(readers)
        except NoAnswer as error:
            raise self._explained(error) from error
        return said

    def read_back(self, setting_name: str, input_: str | None = None) -> float | str:
        """Return what a setting is now, as the instrument says; the setting must be readable."""
        setting = self.setting(setting_name)
        question = setting.read_back
        if question is None:
            raise self._lacks(f"read-back of {setting_name!r}", self.dialect.settings)
        message = self.session.encode(self._filled(question.ask, question, None, input_))
        answer = self.session.query(message)
        try:
            return _read(question, answer)
        except ValueError as error:
            raise self.unreadable(message, answer, error) from error

    def confirm(self, change: Change) -> None:
        """Raise RefusedSetting unless the setting is still as it was made; nothing is changed."""
        setting = self.setting(change.setting)
        if setting.read_back is None:
            return
        got = self.read_back(change.setting, change.input)
        if not _agrees(setting, change.value, got):
            raise self._differs(setting, change, got, None)

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

    def _ask_all(self, readers: Sequence[tuple[str, Callable[[bytes], None]]]) -> None:
        """Put questions in one message where the instrument can take that, else one by one."""
        if not self.dialect.link.compound or len(readers) < 2:
            for ask, read in readers:
                read(self.session.query(self.session.encode(ask)))
            return
        message = self.session.encode(compound(ask for ask, _ in readers))
        answer = self.session.query(message)
        # Only the last answer, the error's text, may hold a semicolon of its own.
        parts = answer.split(b";", len(readers) - 1)
        if len(parts) != len(readers):
            raise self.session.damaged(message, answer, f"{len(readers)} answers were expected")
        # The error queue says why a setting was refused, so it is looked at first.
        for (_, read), part in reversed(list(zip(readers, parts, strict=True))):
            read(part)

    def _compare(
        self,
        said: dict[str, float | str],
        setting: Setting,
        change: Change,
        spelled: str,
        answer: bytes,
    ) -> None:
        question = setting.read_back
        assert question is not None  # noqa: S101 - only settings with a read-back get here
        try:
            got = _read(question, answer)
        except ValueError as error:
            raise self.unreadable(self.session.encode(question.ask), answer, error) from error
        said[change.setting] = got
        if not _agrees(setting, change.value, got):
            raise self._differs(setting, change, got, self.session.encode(spelled))

    def _differs(
        self, setting: Setting, change: Change, got: float | str, message: bytes | None
    ) -> InstrumentError:
        wanted = "at least " if setting.compare == "at least" else ""
        return self.session.error(
            RefusedSetting,
            f"{change.setting} was set to {change.value}, but reads back as {got} "
            f"({wanted}{change.value} was expected)",
            message,
            None,
            "The instrument can't do it, was changed at its panel, or a protection has "
            "switched it off: look at its display.",
        )

    def _refuse_error(self, answer: bytes) -> None:
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
        return self._no_error is not None and self._no_error.match(text) is not None

    def _explained(self, error: NoAnswer) -> InstrumentError:
        """Return the error together with what the error queue says about it."""
        try:
            self.session.open()
            queue = self.errors()
        except InstrumentError:
            return error
        if not queue:
            return error
        return self.session.error(
            RefusedSetting,
            f"{error.found}, and its error queue holds {'; '.join(queue)}",
            None if error.sent is None else error.sent.encode("latin-1"),
            None,
            "The dialect does not fit the instrument.",
        )

    def _spelled(self, setting: Setting, change: Change) -> str:
        if isinstance(change.value, str):
            value = setting.values.get(change.value)
            if value is None:
                raise self._lacks(f"{change.setting} {change.value!r}", setting.values)
        else:
            value = format(change.value, setting.format)
        fields = {"value": value} | ({} if change.input is None else {"input": change.input})
        return self._formatted(setting.write, fields)

    def _filled(
        self, template: str, question: Question, value: float | None, input_: str | None
    ) -> str:
        fields = {} if value is None else {"value": format(value, question.format)}
        return self._formatted(template, fields | ({} if input_ is None else {"input": input_}))

    def _formatted(self, template: str, fields: Mapping[str, str]) -> str:
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

    def _lacks(self, what: str, there: Mapping[str, object]) -> InstrumentError:
        return self.session.error(
            UnknownDialect,
            f"dialect {self.session.spec.dialect!r} has no {what}",
            None,
            None,
            f"It has: {', '.join(there) or 'none'}. Use or write a dialect that has it.",
        )
