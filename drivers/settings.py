"""Settings: made in order, read back, and compared with what was wanted."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from drivers.answers import number_parser, token
from drivers.dialect import Question, Setting
from drivers.errors import InstrumentError, NoAnswer, RefusedSetting
from drivers.instrument import Instrument, compound

FORMAT_LOSS = 1e-5
"""What six significant digits, a setting's usual format, may lose."""

Reader = tuple[str, Callable[[bytes], None]]
"""A question and what to do with its answer."""


@dataclass(frozen=True, slots=True)
class Change:
    """A setting to be made: its name in the dialect, the value, and the input it is for."""

    setting: str
    value: float | str
    input: str | None = None


def change(instrument: Instrument, changes: Sequence[Change]) -> dict[str, float | str]:
    """Make settings in the given order, read each back and read the error queue.

    Returns what the instrument says, by the setting's name; what can't be read back is given as
    it was set.

    Raises
    ------
    RefusedSetting
        When something read back differs, or an error stands in the queue.
    InstrumentError
        Any of its kinds, when the link fails.
    """
    if not changes:
        return {}
    said: dict[str, float | str] = {}
    readers: list[Reader] = []
    for one in changes:
        setting = instrument.setting(one.setting)
        instrument.session.tell(instrument.session.encode(_spelled(instrument, setting, one)))
        said[one.setting] = one.value
        question = setting.read_back
        if question is not None:
            ask = instrument.filled(question.ask, question, None, one.input)
            readers.append((ask, partial(_take, instrument, said, one, question)))
    if instrument.dialect.errors is not None:
        readers.append((instrument.dialect.errors.ask, instrument.refuse_error))
    try:
        _ask_all(instrument, readers)
    except NoAnswer as error:
        raise _explained(instrument, error) from error
    return said


def read_back(instrument: Instrument, name: str, input_: str | None = None) -> float | str:
    """Return what a setting is now, as the instrument says; the setting must be readable."""
    question = instrument.setting(name).read_back
    if question is None:
        raise instrument.lacks(f"read-back of {name!r}", instrument.dialect.settings)
    message = instrument.session.encode(instrument.filled(question.ask, question, None, input_))
    return _read(instrument, question, instrument.session.query(message))


def confirm(instrument: Instrument, one: Change) -> None:
    """Raise RefusedSetting unless a setting is still as it was made; nothing is changed."""
    if instrument.setting(one.setting).read_back is not None:
        _compare(instrument, one, read_back(instrument, one.setting, one.input))


def _ask_all(instrument: Instrument, readers: Sequence[Reader]) -> None:
    """Put questions in one message where the instrument can take that, else one by one.

    The error queue, the last question, says why a setting was refused, so it is looked at first.
    """
    session = instrument.session
    if not instrument.dialect.link.compound or len(readers) < 2:
        for ask, read in reversed(readers):
            read(session.query(session.encode(ask)))
        return
    message = session.encode(compound(ask for ask, _ in readers))
    answer = session.query(message)
    # Only the last answer, the error's text, may hold a semicolon of its own.
    parts = answer.split(b";", len(readers) - 1)
    if len(parts) != len(readers):
        raise session.damaged(message, answer, f"{len(readers)} answers were expected")
    for (_, read), part in reversed(list(zip(readers, parts, strict=True))):
        read(part)


def _take(
    instrument: Instrument,
    said: dict[str, float | str],
    one: Change,
    question: Question,
    answer: bytes,
) -> None:
    said[one.setting] = got = _read(instrument, question, answer)
    _compare(instrument, one, got)
    if instrument.setting(one.setting).compare == "at least" and isinstance(one.value, float):
        instrument.ranges[one.setting, one.input, one.value] = float(got)


def _read(instrument: Instrument, question: Question, answer: bytes) -> float | str:
    try:
        if question.tokens:
            return token(answer, question.tokens)
        return number_parser(question.suffixes, question.overload_texts, question.factor)(answer)[0]
    except ValueError as error:
        message = instrument.session.encode(question.ask)
        raise instrument.unreadable(message, answer, error) from error


def _compare(instrument: Instrument, one: Change, got: float | str) -> None:
    setting = instrument.setting(one.setting)
    if _agrees(setting, one.value, got):
        return
    wanted = "at least " if setting.compare == "at least" else ""
    raise instrument.session.error(
        RefusedSetting,
        f"{one.setting} was set to {one.value}, but reads back as {got} "
        f"({wanted}{one.value} was expected)",
        instrument.session.encode(_spelled(instrument, setting, one)),
        None,
        "The instrument can't do it, was changed at its panel, or a protection has "
        "switched it off: look at its display.",
    )


def _agrees(setting: Setting, wanted: float | str, got: float | str) -> bool:
    if isinstance(wanted, str) or isinstance(got, str):
        return got == wanted
    allowed = setting.absolute + (setting.relative + FORMAT_LOSS) * abs(wanted)
    if setting.compare == "at least":
        return got >= wanted - allowed
    return abs(got - wanted) <= allowed


def _explained(instrument: Instrument, error: NoAnswer) -> InstrumentError:
    """Return the error together with what the error queue says about it."""
    try:
        instrument.session.open()
        queue = instrument.errors()
    except InstrumentError:
        return error
    if not queue:
        return error
    return instrument.session.error(
        RefusedSetting,
        f"{error.found}, and its error queue holds {'; '.join(queue)}",
        None if error.sent is None else error.sent.encode("latin-1"),
        None,
        "The dialect does not fit the instrument.",
    )


def _spelled(instrument: Instrument, setting: Setting, one: Change) -> str:
    if isinstance(one.value, str):
        value = setting.values.get(one.value)
        if value is None:
            raise instrument.lacks(f"{one.setting} {one.value!r}", setting.values)
    else:
        value = format(one.value * setting.factor, setting.format)
    fields = {"value": value} | ({} if one.input is None else {"input": one.input})
    return instrument.formatted(setting.write, fields)
