"""Resistors beside the load, connected and taken off by a switch or by a person.

They draw V/R whatever the load does. So the load is off while any of them moves: no current is ever
more than the greater of what was and what is asked for, and relays break no more than V/R.
"""

from collections.abc import Callable, Iterable, Sequence

from drivers.roles import Bench
from sequencer.documents.resistors import Resistor, conductance
from sequencer.errors import BenchFailed, TrialStopped
from sequencer.requests import Answered, Ask
from sequencer.run import operator_words as words

PROOF_SHARE, PROOF_A = 0.05, 0.05
"""A connected resistor shows by its current within its tolerance, 5 % and 50 mA."""

OPERATOR_LIMIT_S = 600.0


class BesideLoad:
    """What is connected now, as far as this run has done it."""

    def __init__(self, bench: Bench, resistors: Sequence[Resistor]) -> None:
        self._bench = bench
        self._resistors = resistors
        self.connected: tuple[int, ...] = ()

    def move(
        self,
        wanted: tuple[int, ...],
        voltage: float,
        channel: str | None,
        ask: Callable[[Ask], Answered],
    ) -> None:
        """Connect just the resistors of these numbers; the load must be off.

        Parameters
        ----------
        wanted
            Numbers, from 1.
        voltage
            What the output is set to, in V.
        channel
            The channel that sees the whole current; what a person did is proven by it.
        ask
            Gives a person an instruction.

        Raises
        ------
        BenchFailed, TrialStopped
            When a relay doesn't confirm, or nobody did what was asked.
        """
        # Taken off first: never more of them at once than before or after.
        for number in sorted({*self.connected} - {*wanted}):
            self._one(number, False, voltage, channel, ask)
        for number in sorted({*wanted} - {*self.connected}):
            self._one(number, True, voltage, channel, ask)

    def _one(
        self,
        number: int,
        connected: bool,
        voltage: float,
        channel: str | None,
        ask: Callable[[Ask], Answered],
    ) -> None:
        one = self._resistors[number - 1]
        after = {*self.connected, number} if connected else {*self.connected} - {number}
        if one.by == "switch":
            self.connected = tuple(sorted({*self.connected, number}))
            relay = self._bench.switches[one.switch or ""]
            if not relay.switch(one.output or "", closed=connected):
                raise BenchFailed(f"The switch of resistor {number} does not confirm its relay.")
        else:
            self._by_hand(number, one, connected, tuple(after), voltage, channel, ask)
        self.connected = tuple(sorted(after))

    def _by_hand(
        self,
        number: int,
        one: Resistor,
        connected: bool,
        after: tuple[int, ...],
        voltage: float,
        channel: str | None,
        ask: Callable[[Ask], Answered],
    ) -> None:
        low, high = (voltage * conductance(self._resistors, after, sign) for sign in (-1.0, 1.0))
        answer = ask(
            Ask(
                words.connect_resistor(number, one.resistance, connected=connected),
                channel,
                (1.0 - PROOF_SHARE) * low - PROOF_A,
                (1.0 + PROOF_SHARE) * high + PROOF_A,
                OPERATOR_LIMIT_S,
            )
        )
        if not answer.done:
            raise TrialStopped(
                f"{channel} read {answer.value:.4g} A after {OPERATOR_LIMIT_S:.0f} s, not what "
                f"resistor {number} of {one.resistance:.4g} ohm "
                f"{'draws' if connected else 'leaves'} at {voltage:.4g} V."
            )


def relays_of(resistors: Iterable[Resistor]) -> tuple[tuple[str, str], ...]:
    """Return switch and relay of each resistor that has one."""
    return tuple((one.switch or "", one.output or "") for one in resistors if one.by == "switch")
