"""Before a run draws real power: a look that energises nothing, then a check at a small current.

The low-energy check is a procedure like any trial's, so guards watch it and its readings are in the
record, under a number of its own that no profile reaches.
"""

from collections.abc import Callable, Sequence
from itertools import combinations
from math import isnan

from pydantic import BaseModel

from drivers.roles import Bench
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.errors import BenchFailed, TrialStopped
from sequencer.requests import Ask, LoadState, Note, Procedure, Readings
from sequencer.run import operator_words as words
from sequencer.run.beside_load import relays_of
from sequencer.run.guards import Guards
from sequencer.run.leads import Leads
from sequencer.trials.steps import LOAD_OFF, leave, mean_of, prepare, read_at, tolerances
from sequencer.trials.trial import VOLTAGE, VOLTAGE_AT_LOAD, VOLTAGE_AT_TERMINALS, Context
from sequencer.trials.two_places import MOVE_LIMIT_S

NUMBER, NAME = 1_000_000, "start_check"

Tell = Callable[[str], None]

SMALL_SHARE = 0.05
"""A twentieth of the rated current must show plausible leads before more is drawn."""

STRAY_SHARE, STRAY_A = 0.01, 0.02
"""With the load off no more flows than 1 % of the rating and an ammeter's 20 mA."""

PLAUSIBLE_DROP_V = 0.5
"""Without an allowance in the unit document, half a volt at full current (common practice)."""

AGREE_SHARE, AGREE_A = 0.05, 0.03
"""Two ammeters agree within 5 % of the small current and 30 mA, or one of them is wrong; a load's
own readback is seldom better at so little (common practice, no source)."""

READINGS, PERIOD_S = 4, 0.25


def preflight(
    bench: Bench, documents: Documents, guards: Guards, tell: Tell, leads: Leads | None = None
) -> None:
    """Look at the bench without energising anything: load off, queues empty, meters in range.

    `tell` takes what stood in an error queue; `leads` says where those of moved meters are.

    Raises
    ------
    BenchFailed, GuardTripped, TrialStopped
        With what is wrong; nothing was energised.
    """
    if bench.load is not None and not bench.load.off():
        raise BenchFailed("The load does not confirm that its input is off; nothing was energised.")
    for switch, relay in relays_of(documents.bench.load.resistors):
        bench.switches[switch].switch(relay, closed=False)
    for text in bench.check_errors():
        tell(text)
    if again := bench.check_errors():
        raise BenchFailed(f"Errors come back at rest: {'; '.join(again)}. Nothing was energised.")
    asked = tuple(c for c in documents.bench.channels if c not in documents.bench.typed)
    there = (leads or Leads(documents.bench.channels)).in_place(asked)
    readings = bench.read(there)
    guards.check(readings)
    for reading in readings:
        if reading.flag:
            raise BenchFailed(
                f"{reading.channel} gives {reading.flag} ({reading.raw!r}) at rest, though it "
                "should be in range; nothing was energised. Look at its range and leads."
            )
    values = {reading.channel: reading.value for reading in readings}
    _no_stray(values, documents)
    _same_voltage(values, documents)


def _no_stray(values: dict[str, float], documents: Documents) -> None:
    most = STRAY_SHARE * documents.unit.ratings.current + STRAY_A
    for channel, value in values.items():
        if channel.startswith("current.") and abs(value) > most:
            raise TrialStopped(
                f"{channel} reads {format_quantity(value, 'A', 3)} although the load is off: the "
                "sense leads look reversed, something else (such as a resistor across the load) "
                "draws current, or the ammeter is wrong. The current is not raised."
            )


def _same_voltage(values: dict[str, float], documents: Documents) -> None:
    """Compare the places of voltage while no current flows: they have to agree."""
    places = [c for c in (VOLTAGE, VOLTAGE_AT_TERMINALS, VOLTAGE_AT_LOAD) if c in values]
    allowed = _allowed_v(documents)
    for first, second in combinations(places, 2):
        if abs(values[first] - values[second]) > allowed:
            raise TrialStopped(
                f"{first} reads {format_quantity(values[first], 'V', 4)} and {second} "
                f"{format_quantity(values[second], 'V', 4)} although no current flows: the sense "
                "leads look open, reversed or not connected, or a meter is "
                "at another place. The current is not raised."
            )


def _allowed_v(documents: Documents) -> float:
    return documents.unit.ratings.sense_compensation or PLAUSIBLE_DROP_V


def low_energy(
    documents: Documents, planned: Sequence[BaseModel], leads_at: str = VOLTAGE
) -> Procedure:
    """Set the first trial's voltage, draw a small current and look whether all is plausible.

    A person confirms first that the leads of moved meters are where the first trial wants them:
    at the place of the channel `leads_at`.

    Raises
    ------
    TrialStopped
        With what is not plausible; no more than the small current was drawn.
    """
    voltage = next((v for s in planned if (v := getattr(s, "voltage", None))), None)
    context = Context(documents.unit, documents.bench)
    if voltage is None or not context.has(VOLTAGE):
        return
    voltage = float(voltage)
    leads = Leads(documents.bench.channels, leads_at)
    there = leads.in_place(tuple(documents.bench.channels))
    channels = tuple(c for c in there if c.startswith(("voltage.", "current.")))
    tolerance = tolerances(context, (leads_at,), voltage)
    small = SMALL_SHARE * documents.unit.ratings.current
    means = []
    for place in leads.now.values():
        yield Ask(words.leads_at(place), limit_s=MOVE_LIMIT_S)
    yield from prepare(voltage, leads_at)
    for state in (LOAD_OFF, LoadState("current", small, on=True)):
        reply = yield from read_at(
            state,
            channels=channels,
            tolerance=tolerance,
            readings=READINGS,
            period_s=PERIOD_S,
            tag={"part": NAME, "level": state.level},
        )
        means.append(_means(reply, channels))
        if not state.on:
            _no_stray(means[0], documents)
            _same_voltage(means[0], documents)
            _right_way_round(means[0])
    yield from leave()
    said = _at_small_current(means[0], means[1], small, documents)
    yield Note(f"Start check at {small:.3g} A: {said}")


def _means(reply: Readings, channels: Sequence[str]) -> dict[str, float]:
    means = {channel: mean_of(reply, channel) for channel in channels}
    for channel, value in means.items():
        if isnan(value):
            raise TrialStopped(f"{channel} gives no number at a small current; look at its range.")
    return means


def _right_way_round(means: dict[str, float]) -> None:
    for channel, value in means.items():
        if channel.startswith("voltage.") and value <= 0.0:
            raise TrialStopped(
                f"{channel} reads {format_quantity(value, 'V', 4)} while the output is on: its "
                "leads are the wrong way round or not connected. The current is not raised."
            )


def _at_small_current(
    none: dict[str, float], small: dict[str, float], level: float, documents: Documents
) -> str:
    """Look at drops and currents; return them in words."""
    most = _allowed_v(documents) / documents.unit.ratings.current
    said = []
    for channel in (VOLTAGE, VOLTAGE_AT_LOAD, VOLTAGE_AT_TERMINALS):
        if channel not in small:
            continue
        ohm = (none[channel] - small[channel]) / level
        said.append(f"{channel} falls by {format_quantity(ohm, 'ohm', 3)} times the current")
        if abs(ohm) > most:
            raise TrialStopped(
                f"{channel} changed by {format_quantity(-ohm * level, 'V', 3)} at {level:.3g} A, "
                f"as over {format_quantity(ohm, 'ohm', 3)}, more than {most:.3g} Ω: the sense "
                "leads look open, reversed or not connected. The current is not raised, and no "
                "trial begins: mend the leads first."
            )
    currents = {c: v for c, v in small.items() if c.startswith("current.")}
    for channel, value in (*currents.items(), ("the load's setting", level)):
        for other, value2 in currents.items():
            if abs(value - value2) > AGREE_SHARE * level + AGREE_A:
                raise TrialStopped(
                    f"{channel} says {format_quantity(value, 'A', 4)}, {other} "
                    f"{format_quantity(value2, 'A', 4)} at the same time: one is wrong, reversed, "
                    "or the shunt's resistance is another. No trial begins."
                )
    said += [f"{channel} {format_quantity(value, 'A', 4)}" for channel, value in currents.items()]
    return ", ".join(said) + "."
