"""Gather the guards of a run: from unit, bench, profile and the load's ratings."""

from collections.abc import Iterator, Mapping
from math import inf

from sequencer.documents.bench import BenchDocument
from sequencer.documents.guards import INTERLOCK, Guard, quantity_of
from sequencer.documents.load import Documents
from sequencer.documents.rendering import format_quantity
from sequencer.documents.resistors import conductance
from sequencer.documents.unit import UnitDocument
from sequencer.run.frozen import most_alike
from sequencer.run.guard_bound import GuardBound, tightest
from sequencer.run.guards import Guards
from sequencer.run.operating_point import LOAD_REST_A, LOAD_SHARE, OperatingPoint
from sequencer.trials.trial import Context

DECLARED_PERIOD_S = 1.0
"""What a document bounds, and every safety input, is looked at each second at least."""

IMPLIED_PERIOD_S = 5.0
"""What only ratings bound is looked at every five seconds where the trial doesn't read it."""

OVER_RATED = 1.2
"""A unit gives at most a fifth more than its rated voltage before something is wrong with it."""

OVER_LIMIT = 1.25
"""A unit whose current limit stands a quarter too high is judged; above that the run stops. Both
factors: common practice, no source."""

DEFAULT_COMPENSATION_V = 0.5
WITH_RESISTORS = "the load's rating, and the resistors beside it"
DEPARTURE_SHARE = 0.02
"""An output stands above its setting by at most what sense makes up for, and 2 % of the rating."""


def guard_bounds(documents: Documents) -> tuple[GuardBound, ...]:
    """Return one joined bound per guarded quantity; the tightest of each kind wins.

    Every voltage and current channel is guarded by the ratings of unit and load, asked for or not,
    and so are the powers and the departure upwards from what was asked for.
    """
    bench = documents.bench
    return tightest(
        (
            *_declared(bench.guards, "the bench document"),
            *_declared(documents.profile.guards, "the profile"),
            *_interlocks(bench),
            *_load_ratings(bench, documents.unit.ratings.voltage),
            *_unit_ratings(documents.unit, bench),
        )
    )


def guards_of(documents: Documents) -> Guards:
    """Return the guards of a run, ready to watch."""
    channels, unit = documents.bench.channels, documents.unit
    typed, load = documents.bench.typed, documents.bench.load.instrument
    wanted_v = ("voltage.sense", "voltage.load", "voltage.terminals")
    asked_v = tuple(c for c in wanted_v if c in channels and c not in typed)
    # Where a person reads every meter, the load's own reading is what can be watched.
    by_load = (n for n, c in channels.items() if c.unit == "V" and c.instrument == load)
    typed_v = (c for c in wanted_v if c in typed)
    wanted_a = Context(unit, documents.bench).currents
    return Guards(
        guard_bounds(documents),
        most_alike=most_alike(documents.bench),
        point=OperatingPoint(
            voltage_channels=(*(asked_v or by_load), *typed_v),
            current_channels=tuple(sorted(wanted_a, key=lambda name: name in typed)),
            ranges=unit.ranges,
            rated_current=unit.ratings.current,
            resistors=documents.bench.load.resistors,
        ),
    )


def most_current(unit: UnitDocument) -> float:
    """Return the greatest current that the unit may give by its own document, in A."""
    rated = unit.ratings.current
    bounds = [limit.bound.resolve(rated)[1] for limit in unit.limits if limit.unit == "A"]
    return max([rated, *(bound for bound in bounds if bound is not None)])


def _declared(guards: Mapping[str, Guard], source: str) -> Iterator[GuardBound]:
    for channel, guard in guards.items():
        yield GuardBound(
            channel=channel,
            at_least=-inf if guard.at_least is None else guard.at_least,
            at_most=inf if guard.at_most is None else guard.at_most,
            rate_at_most=inf if guard.rate_at_most is None else guard.rate_at_most,
            source=source,
            period_s=DECLARED_PERIOD_S,
        )


def _interlocks(bench: BenchDocument) -> Iterator[GuardBound]:
    for channel in bench.channels:
        if quantity_of(channel) == INTERLOCK:
            yield GuardBound(channel, at_most=0.5, source="every safety input")


def _load_ratings(bench: BenchDocument, voltage: float) -> Iterator[GuardBound]:
    source, period_s = "the load's rating", IMPLIED_PERIOD_S
    resistors = bench.load.resistors
    beside = voltage * conductance(resistors, range(1, len(resistors) + 1), 1.0)
    for channel in bench.channels:
        most = {"voltage": bench.load.voltage, "current": bench.load.current}.get(
            quantity_of(channel)
        )
        if quantity_of(channel) == "current" and channel != "current.load" and beside:
            most = bench.load.current + beside
            yield GuardBound(channel, at_most=most, source=WITH_RESISTORS, period_s=period_s)
        elif most is not None:
            yield GuardBound(channel, at_most=most, source=source, period_s=period_s)
    yield GuardBound("power.load", at_most=bench.load.power, source=source, period_s=period_s)


def _unit_ratings(unit: UnitDocument, bench: BenchDocument) -> Iterator[GuardBound]:
    rated, source, period_s = unit.ratings, "the unit's ratings", IMPLIED_PERIOD_S
    current = OVER_LIMIT * most_current(unit)
    for channel in bench.channels:
        most = {"voltage": OVER_RATED * rated.voltage, "current": current}.get(quantity_of(channel))
        if most is not None:
            yield GuardBound(channel, at_most=most, source=source, period_s=period_s)
    heat = rated.dissipation or max(r.unregulated for r in unit.ranges) * current
    yield GuardBound("power.unit", at_most=heat, source=source, period_s=period_s)
    above = DEPARTURE_SHARE * rated.voltage + (rated.sense_compensation or DEFAULT_COMPENSATION_V)
    asked = "what was asked for"
    yield GuardBound("departure.voltage", at_most=above, source=asked, period_s=period_s)
    beyond = f"{asked} and {LOAD_SHARE:.0%} + {format_quantity(LOAD_REST_A, 'A')} beyond"
    yield GuardBound("departure.current", at_most=0.0, source=beyond, period_s=period_s)
    half = f"half of {asked}, of a load that draws nothing like it though the output stands"
    yield GuardBound("missing.current", at_most=0.0, source=half, period_s=period_s)
