"""What can go wrong with an instrument, each told with address, message, answer and remedy."""


class InstrumentError(Exception):
    """An instrument or its link failed.

    Parameters
    ----------
    instrument, address
        Which one, as the bench document names and places it.
    found
        What was found, as a clause without a full stop.
    sent, answer
        The message that was sent and the raw answer, where there were any.
    remedy
        What a person should do, as sentences.
    """

    def __init__(
        self,
        *,
        instrument: str,
        address: str,
        found: str,
        sent: str | None = None,
        answer: str | None = None,
        remedy: str = "",
    ) -> None:
        place = f"{instrument} at {address}" if address else instrument
        parts = [f"{place}: {found}"]
        if sent is not None:
            parts.append(f"; the message was {sent!r}")
        if answer is not None:
            parts.append(f"; the answer was {answer!r}")
        text = "".join(parts) + "."
        super().__init__(f"{text} {remedy}" if remedy else text)
        self.instrument = instrument
        self.address = address
        self.found = found
        self.sent = sent
        self.answer = answer
        self.remedy = remedy


class Unreachable(InstrumentError):
    """Nothing listens at the address, or the link to it broke."""


class WrongIdentity(InstrumentError):
    """Another instrument than expected answers at the address."""


class NoAnswer(InstrumentError):
    """The answer, or the rest of it, did not come in time."""


class DamagedAnswer(InstrumentError):
    """An answer came that can't be what was asked for."""


class RefusedSetting(InstrumentError):
    """The instrument did not take a setting, or did not keep it."""


class UnknownDialect(InstrumentError):
    """No such dialect, or the dialect lacks an operation that the bench needs."""


LINK_FAILURES = (Unreachable, NoAnswer, DamagedAnswer)
"""Failures of the way there and back; asking again over a new link may help."""
