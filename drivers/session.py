"""The one session layer: a question, its own answer, and never another question's.

After any time-out, damaged answer or broken link the session is closed. The next question opens a
new one, asks who is there, lets the driver check its state, and only then goes on. One thread owns
a session: shared by two, answers would change places without an error.

What no look at a raw socket can tell: an instrument that answers a question twice, the second time
after the next question was sent. It is found one question later, by the answer that is left over.
"""

import time
from collections.abc import Callable
from contextlib import suppress
from threading import get_ident

from drivers.dialect import Link as Manners
from drivers.errors import DamagedAnswer, InstrumentError, NoAnswer, Unreachable, WrongIdentity
from drivers.faults import fault_of
from drivers.link import Link
from drivers.roles import InstrumentSpec
from drivers.trace import Trace, TracedLink

EventSink = Callable[[str, str], None]
"""Takes the kind of an event and its text."""

STANDARD = Manners()
"""Line feeds, no echo, no pauses."""

OPEN_TIMEOUT_S = 5.0
"""A host on the same network that takes longer to accept a connection is not there."""

LEAST_WAIT_S = 0.01
"""What is there already can still be taken when the time is up."""


class Session:
    """Messages to one instrument and answers from it.

    Parameters
    ----------
    spec
        Which instrument, where, and who it should be.
    identify
        The question for its identity, without terminator.
    manners
        How messages and answers end, and what else the dialect says about the link.
    on_event
        Told of every reopening.
    trace
        Where every message is written down, if it is.
    """

    def __init__(
        self,
        spec: InstrumentSpec,
        *,
        identify: str = "*IDN?",
        manners: Manners = STANDARD,
        backend: str = "@py",
        on_event: EventSink = lambda _kind, _text: None,
        trace: Trace | None = None,
    ) -> None:
        self.spec = spec
        self.identity = ""
        self.reopened = 0
        self.on_reopened: Callable[[], None] | None = None
        self.until: float | None = None
        """Monotonic time after which nothing is waited for any more, where there is one."""
        self.manners = manners
        self._read_terminator = manners.read_terminator.encode("ascii")
        self._write_terminator = manners.write_terminator.encode("ascii")
        self._identify = self.encode(identify)
        self._backend = backend
        self._on_event = on_event
        self._trace = trace
        self._link: Link | TracedLink | None = None
        self._asked: bytes | None = None
        self._owner = get_ident()
        self._opened_before = False
        self._opening = False

    def encode(self, message: str) -> bytes:
        """Return the bytes of a message with exactly one terminator."""
        return message.encode("ascii").rstrip(b"\r\n") + self._write_terminator

    def open(self) -> None:
        """Open and identify; does nothing while a healthy link is there.

        Raises
        ------
        Unreachable, NoAnswer, WrongIdentity, DamagedAnswer
        """
        if self._link is not None and self._asked is None:
            return
        if self._opening:
            raise self.error(
                Unreachable,
                "the link was lost again while its state was being checked",
                None,
                None,
                "Look at its power and its cable.",
            )
        if self._asked is not None:
            self._close("a question was left without its answer")
        self._link = None
        try:
            self._link = self._new_link()
        except Exception as error:  # the libraries raise anything; one place translates
            raise self._translate(error, None) from error
        self._opening = True  # what checks the state must not open it anew without end
        try:
            self._exchange_identity()
            for message in self.manners.on_open:
                self.tell(self.encode(message))
            if self._opened_before:
                self.reopened += 1
                where = f"{self.spec.name} at {self.spec.address}"
                self._on_event("reopened", f"{where}: reopened, {self.reopened} times by now")
                if self.on_reopened is not None:
                    self.on_reopened()
        except BaseException:
            self._close("who it is or its state could not be confirmed")
            raise
        finally:
            self._opening = False
        self._opened_before = True

    def _left(self, timeout_s: float) -> float:
        """Return how long may be waited of a time-out."""
        if self.until is None:
            return timeout_s
        return max(LEAST_WAIT_S, min(timeout_s, self.until - time.monotonic()))

    def _new_link(self) -> Link | TracedLink:
        link = Link(
            self.spec.address,
            self._read_terminator,
            self._left(OPEN_TIMEOUT_S),
            self._backend,
            self.manners.pause,
            self.manners.serial(),
        )
        if self._trace is None:
            return link
        return TracedLink(link, self.spec.name, self.spec.address, self._trace)

    def _exchange_identity(self) -> None:
        patience_s = max(self.spec.timeout_s, self.manners.first_answer or 0.0)
        identity = self.query_text(self._identify, patience_s)
        if identity == self._shown(self._identify):
            raise self.damaged(
                self._identify,
                identity.encode("ascii"),
                "the question itself came back: the dialect's [link] needs echo = true",
            )
        expected = self.spec.identity
        if self.identity and identity != self.identity:
            found, wanted = "another instrument answers than before", self.identity
        elif not self.identity and expected is not None and expected not in identity:
            found, wanted = "the wrong instrument answers", expected
        else:
            self.identity = identity
            return
        self._close(found)
        raise WrongIdentity(
            instrument=self.spec.name,
            address=self.spec.address,
            found=f"{found}: {wanted!r} was expected",
            sent=self._shown(self._identify),
            answer=identity,
            remedy="Correct the address or the identity in the bench document, or the cabling.",
        )

    def ask(self, message: bytes) -> None:
        """Send a question; its answer must be collected before the next one.

        Raises
        ------
        InstrumentError
            Any of its kinds; the session is then closed and the next use opens a new one.
        """
        if self._link is None or self._asked is not None or get_ident() != self._owner:
            self._make_ready()
        self._asked = message
        try:
            self._link.write(message)  # type: ignore[union-attr]  # _make_ready saw to it
        except Exception as error:  # the libraries raise anything; one place translates
            raise self._failed(error, message) from error

    def collect(self, timeout_s: float) -> bytes:
        """Return the answer to the question that was asked, without its terminator.

        Raises
        ------
        InstrumentError
            Any of its kinds; the session is then closed and the next use opens a new one.
        """
        message = self._asked
        if self._link is None or message is None:
            raise self.error(NoAnswer, "no question is open", None, None, "Ask before collecting.")
        if self.manners.echo:
            self._take_echo(message, timeout_s)
        answer = self._line(message, timeout_s)
        self._asked = None
        return answer

    def _line(self, message: bytes, timeout_s: float) -> bytes:
        try:
            answer = self._link.read(self._left(timeout_s))  # type: ignore[union-attr]  # the callers saw to it
        except Exception as error:  # the libraries raise anything; one place translates
            raise self._failed(error, message) from error
        if not answer.endswith(self._read_terminator):
            raise self.damaged(message, answer, f"the answer must end in {self._read_terminator!r}")
        return answer[: -len(self._read_terminator)]

    def _take_echo(self, message: bytes, timeout_s: float) -> None:
        """Read the message that comes back; anything else means that something got lost."""
        echo = self._line(message, timeout_s)
        if echo != message.rstrip(b"\r\n"):
            raise self.damaged(message, echo, "the message itself was expected to come back first")

    def query(self, message: bytes, timeout_s: float | None = None) -> bytes:
        """Ask and collect."""
        self.ask(message)
        return self.collect(self.spec.timeout_s if timeout_s is None else timeout_s)

    def query_text(self, message: bytes, timeout_s: float | None = None) -> str:
        """Ask and return an answer of printable ASCII; anything else is damaged."""
        raw = self.query(message, timeout_s)
        text = raw.decode("latin-1")
        if not text or not text.isascii() or not text.replace("\t", " ").isprintable():
            raise self.damaged(message, raw, "the answer is not printable text")
        return text

    def tell(self, message: bytes) -> None:
        """Send a message that has no answer."""
        self.ask(message)
        if self.manners.echo:
            self._take_echo(message, self.spec.timeout_s)
        self._asked = None

    def damaged(self, message: bytes, answer: bytes, why: str) -> InstrumentError:
        """Close the session because of an answer that can't be right; return the error to raise."""
        self._close(why)
        return self.error(
            DamagedAnswer,
            why,
            message,
            answer,
            "The connection was given up, so that no later answer is taken for another's. "
            "If this repeats, check the dialect and the cable.",
        )

    def close(self) -> None:
        """Take leave as the dialect says, where the link is healthy, and close; never raises."""
        if self._link is not None and self._asked is None:
            with suppress(Exception):  # the instrument may be gone; so is the program in a moment
                for message in self.manners.on_close:
                    self._link.write(self.encode(message))
        self._drop()

    def _drop(self) -> None:
        if self._link is not None:
            self._link.close()
        self._link = None
        self._asked = None

    def _make_ready(self) -> None:
        if get_ident() != self._owner:
            raise self.error(
                Unreachable,
                "another thread than the owner uses the session",
                None,
                None,
                "Open the bench in the thread that uses it.",
            )
        self.open()

    def _failed(self, error: Exception, message: bytes) -> InstrumentError:
        translated = self._translate(error, message)
        self._close(translated.found)
        return translated

    def _close(self, why: str) -> None:
        if self._link is None:
            return
        self._drop()
        self._on_event("closed", f"{self.spec.name} at {self.spec.address}: closed: {why}")

    def _translate(self, error: Exception, message: bytes | None) -> InstrumentError:
        if isinstance(error, InstrumentError):
            return error
        fault = fault_of(error, was_open=self._link is not None)
        return self.error(fault.kind, fault.found, message, fault.answer, fault.remedy)

    def error(
        self,
        kind: type[InstrumentError],
        found: str,
        sent: bytes | None,
        answer: bytes | None,
        remedy: str,
    ) -> InstrumentError:
        """Return an error of this instrument."""
        return kind(
            instrument=self.spec.name,
            address=self.spec.address,
            found=found,
            sent=None if sent is None else self._shown(sent),
            answer=None if answer is None else answer.decode("latin-1"),
            remedy=remedy,
        )

    def _shown(self, message: bytes) -> str:
        return message.decode("latin-1").removesuffix(self._write_terminator.decode("ascii"))
