"""A device: carries messages out, keeps their status, answers the common commands."""

from collections.abc import Callable, Iterable
from functools import partial
from typing import Final, NamedTuple, Protocol

from simulated_bench.scpi.commands import Command, Kind, Table
from simulated_bench.scpi.compile import compile_message
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.manners import STANDARD, Manners
from simulated_bench.scpi.parameters import Integer, Value
from simulated_bench.scpi.status import OPERATION_COMPLETE, Register, Status

VERSION: Final = "1999.0"
MOST_COMPILED: Final = 256
"""Messages kept compiled, a few KiB each; when there are more, keeping starts anew."""

LONGEST_COMPILED: Final = 256
REGISTER: Final = Integer(0, 65535)
BYTE: Final = Integer(0, 255)


class Timing(Protocol):
    """What carrying a command out means for bench time."""

    def before_setting(self) -> None:
        """Let every measurement under way end."""

    def before_question(self) -> None:
        """Let a measurement under way in this instrument end."""


Run = Callable[[], str | None]
"""Carries one command with its values out."""

Wrap = Callable[[Command, tuple[Value, ...], Run], Run]
"""Puts something around carrying a command out."""


class _Bound(NamedTuple):
    """A message ready to be carried out: what comes first, what runs, the command's pattern."""

    steps: tuple[tuple[Callable[[], None] | None, Run, str], ...]
    error: ScpiError | None


class Device:
    """One instrument's SCPI side."""

    def __init__(
        self,
        identity: str,
        commands: Iterable[Command],
        reset: Callable[[], None],
        timing: Timing,
        status: Status,
        manners: Manners = STANDARD,
    ) -> None:
        self.identity = identity
        self.status = status
        self._reset = reset
        self._timing = timing
        self._manners = manners
        self._end = manners.line_end.decode()
        self._remote = not manners.remote_lock
        self._table = Table((*self._common(), *self._queue(), *self._lock(), *commands))
        self._bound: dict[bytes, _Bound] = {}
        self._answers: list[str] = []
        self._wrap: Wrap | None = None

    def intercept(self, wrap: Wrap | None) -> None:
        """Put something around every command from now on; None takes it away.

        It acts when a message is bound to what it calls, so that a query pays nothing for it while
        there is none.
        """
        self._wrap = wrap
        self._bound.clear()

    def power_cycle(self) -> None:
        """Be as after switching off and on, the connection apart."""
        self._reset()
        self.status.power_on()
        self._remote = not self._manners.remote_lock

    def remote(self, remote: bool) -> None:
        """Give control to the front panel or take it, where the instrument has that lock."""
        self._remote = remote or not self._manners.remote_lock

    def answer(self, message: bytes) -> bytes:
        """Carry a message out, given without its terminator; return its answer or nothing.

        Never raises for what a message holds: errors go to the queue.
        """
        bound = self._bound.get(message)
        if bound is None:
            bound = self._bind(message)
        answers = self._answers = []
        for prepare, run, pattern in bound.steps:
            try:
                if prepare is not None:
                    prepare()
                answer = run()
                if answer is not None:
                    answers.append(answer)
            except ScpiError as error:
                self.status.put(error)
            except (ArithmeticError, ValueError) as error:  # a state that the physics can't solve
                self.status.put(ScpiError(-300, f"{pattern}: {error}"))
        if bound.error is not None:
            self.status.put(bound.error)
        return (";".join(answers) + self._end).encode("ascii", "replace") if answers else b""

    def _bind(self, message: bytes) -> "_Bound":
        """Compile a message and bind each step to what it calls, once per message."""
        program = compile_message(message.decode("latin-1"), self._table)
        prepare = {
            Kind.SETTING: self._timing.before_setting,
            Kind.QUESTION: self._timing.before_question,
            Kind.PLAIN: None,
        }
        bound = _Bound(
            tuple(
                (prepare[command.kind], self._run(command, values), command.pattern)
                for command, values in program.steps
            ),
            program.error,
        )
        if len(message) <= LONGEST_COMPILED:
            if len(self._bound) >= MOST_COMPILED:
                self._bound.clear()
            self._bound[message] = bound
        return bound

    def _run(self, command: Command, values: tuple[Value, ...]) -> Run:
        run: Run = partial(command.handler, *values) if values else command.handler
        if self._manners.unit_suffix and command.unit:
            run = partial(_with_unit, run, command.unit)
        if self._manners.remote_lock and command.sets and not command.pattern.startswith("SYST"):
            run = partial(self._locked, run)
        return run if self._wrap is None else self._wrap(command, values, run)

    def _common(self) -> tuple[Command, ...]:
        status, plain = self.status, Kind.PLAIN
        return (
            Command("*IDN?", lambda: self.identity, kind=plain),
            Command("*RST", self._restart),
            Command("*CLS", status.clear, kind=plain),
            Command("*OPC", self._complete),
            Command("*OPC?", self._completed, kind=plain),
            Command("*WAI", lambda: None),
            Command("*TST?", lambda: "0", kind=plain),
            Command("*ESR?", lambda: str(status.read_event()), kind=plain),
            Command("*ESE", self._set_event_enable, (BYTE,), plain),
            Command("*ESE?", lambda: str(status.event_enable), kind=plain),
            Command("*SRE", self._set_service_enable, (BYTE,), plain),
            Command("*SRE?", lambda: str(status.service_enable), kind=plain),
            Command("*STB?", self._status_byte, kind=plain),
            Command("SYSTem:VERSion?", lambda: VERSION, kind=plain),
            Command("STATus:PRESet", status.preset, kind=plain),
            *_register_commands("QUEStionable", status.questionable),
            *_register_commands("OPERation", status.operation),
        )

    def _queue(self) -> tuple[Command, ...]:
        status, plain = self.status, Kind.PLAIN
        if not self._manners.error_queue:
            return ()
        return (
            Command("SYSTem:ERRor[:NEXT]?", status.next_error, kind=plain),
            Command("SYSTem:ERRor:COUNt?", lambda: str(status.errors()), kind=plain),
        )

    def _lock(self) -> tuple[Command, ...]:
        if not self._manners.remote_lock:
            return ()
        return (
            Command("SYSTem:REMote", partial(self.remote, True)),
            Command("SYSTem:RWLock", partial(self.remote, True)),
            Command("SYSTem:LOCal", partial(self.remote, False)),
        )

    def _locked(self, run: Run) -> str | None:
        if not self._remote:
            raise ScpiError(-203, "the front panel has control")
        return run()

    def _restart(self) -> None:
        self._reset()

    def _complete(self) -> None:
        self.status.event |= OPERATION_COMPLETE

    def _completed(self) -> str:
        self._timing.before_setting()
        return "1"

    def _set_event_enable(self, bits: int) -> None:
        self.status.event_enable = bits

    def _set_service_enable(self, bits: int) -> None:
        self.status.service_enable = bits & ~64  # bit 6 can't be enabled (IEEE 488.2, 11.3.2)

    def _status_byte(self) -> str:
        return str(self.status.byte(message_available=bool(self._answers)))


def _with_unit(run: Run, unit: str) -> str | None:
    answer = run()
    return None if answer is None else ",".join(number + unit for number in answer.split(","))


def _register_commands(name: str, register: Register) -> tuple[Command, ...]:
    def enable(bits: int) -> None:
        register.enable = bits

    root, plain = f"STATus:{name}", Kind.PLAIN
    return (
        Command(f"{root}[:EVENt]?", lambda: str(register.read_event()), kind=plain),
        Command(f"{root}:CONDition?", lambda: str(register.condition), kind=plain),
        Command(f"{root}:ENABle", enable, (REGISTER,), plain),
        Command(f"{root}:ENABle?", lambda: str(register.enable), kind=plain),
    )
