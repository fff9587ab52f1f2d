"""Pieces of procedure that trials share: prepare the unit, go to a point and read it, leave."""

from collections.abc import Callable, Generator, Mapping, Sequence
from math import isnan

from sequencer.requests import (
    Apply,
    LoadState,
    Note,
    Read,
    Readings,
    Reply,
    Request,
    Settle,
    Settled,
    SupplyState,
)
from sequencer.trials.trial import VOLTAGE, Context

LOAD_OFF = LoadState("current", 0.0, on=False)

SETTLE_COUNT = 5
"""A settling window of five readings: enough to tell a slope from noise."""

SETTLE_LIMIT_S = 30.0
"""A linear supply settles in milliseconds; what still moves after 30 s is heat or a fault."""

NOISE_MARGIN = 6.0
"""Settled within six standard deviations of the meter's noise: noise alone seldom exceeds it."""

RESOLUTION_MARGIN = 3.0
"""A meter that shows few digits jumps by a digit or two though nothing moves."""

LEAST_TOLERANCE = 5e-6
"""Nothing is asked to be steadier than 5 ppm of the setting: the unit's own noise isn't."""

SETTING_BAND = 0.001
"""A knob is set when the reading lies within 0.1 % of the setting (common practice, no source)."""

LEAST_BAND_V = 0.01


def tolerances(context: Context, channels: tuple[str, ...], voltage: float) -> dict[str, float]:
    """Return for each channel how much it may move and still count as steady, in its own unit.

    Nobody waits for one that a person types: typing takes longer than an output to settle.
    """
    found: dict[str, float] = {}
    for channel in channels:
        if context.typed(channel):
            continue
        accuracy = context.accuracy(channel)
        full = voltage if channel.startswith("voltage.") else context.unit.ratings.current
        found[channel] = max(
            NOISE_MARGIN * accuracy.noise,
            RESOLUTION_MARGIN * accuracy.resolution,
            LEAST_TOLERANCE * full,
        )
    return found


def drawing(
    context: Context,
    voltage: float,
    wanted: float,
    trim: float = 0.0,
    hands: tuple[int, ...] | None = None,
) -> LoadState:
    """Return the load's state for a current (A), with the resistors that it needs at a voltage (V).

    `trim` is added to the load's own part once the ammeter has told what the sum is wrong by; which
    resistors are connected follows from what is wanted alone, and from which of them a person is
    known to have connected: `hands`, where levels are grouped (`sequencer.trials.by_hand`).
    """
    if wanted <= 0.0:
        return LOAD_OFF
    shared = context.bench.load.share(voltage, wanted, hands)
    return LoadState("current", shared.own + trim, on=True, resistors=shared.resistors)


def full_load(
    context: Context, voltage: float, wanted: float, tag: Mapping[str, float | str]
) -> Generator[Request, Reply, None]:
    """Put a current (A) on; with resistors beside the load, correct its own part by what is read.

    Seconds after switching on a resistor is still cold; its own heat is measured, not corrected.
    """
    state = drawing(context, voltage, wanted)
    yield Apply(state)
    if not state.resistors:
        return
    reply = yield Read((VOLTAGE, context.current), TRIM_READINGS, TRIM_PERIOD_S, tag)
    if isinstance(reply, Readings):
        error = mean_of(reply, context.current) - wanted
        unsure = context.bench.load.share(voltage, wanted).unsure
        if abs(error) <= unsure + LEAST_TRIM_A:
            yield Apply(drawing(context, voltage, wanted, -error))


TRIM_READINGS, TRIM_PERIOD_S = 5, 1.0


def prepare(voltage: float, proof: str = VOLTAGE) -> Generator[Request, Reply, None]:
    """Set the unit to a voltage with its limit fully up and the load drawing nothing.

    `proof` is the channel that shows the voltage: without load all places have the same.
    """
    yield Apply(LOAD_OFF)
    yield Apply(
        SupplyState(
            voltage=voltage,
            current_limit="maximum",
            output=True,
            proof_channel=proof,
            band=max(SETTING_BAND * voltage, LEAST_BAND_V),
        )
    )


def leave() -> Generator[Request, Reply, None]:
    """Take the load off, so that nothing heats between trials."""
    yield Apply(LOAD_OFF)


def _movement(channel: str, slope_per_s: float) -> str:
    """Say how a channel moves, or that its readings came too seldom to tell."""
    if isnan(slope_per_s):
        return f"{channel} is read too seldom to tell whether it is steady"
    return f"{channel} moves by {slope_per_s:.3g} per second"


def read_at(
    state: LoadState,
    *,
    channels: tuple[str, ...],
    tolerance: Mapping[str, float],
    readings: int,
    period_s: float,
    tag: Mapping[str, float | str],
) -> Generator[Request, Reply, Readings]:
    """Set the load, wait until the channels of `tolerance` are steady, and read."""
    yield Apply(state)
    settled = yield Settle(
        tolerance=tolerance,
        window_s=SETTLE_COUNT * period_s,
        period_s=period_s,
        limit_s=SETTLE_LIMIT_S,
    )
    if isinstance(settled, Settled) and not settled.settled:
        yield Note(
            f"Not settled within {SETTLE_LIMIT_S:.0f} s at {state.mode} {state.level:.6g}: "
            + ", ".join(_movement(*one) for one in settled.slope_per_s.items()),
            "warning",
        )
    reply = yield Read(channels=channels, count=readings, period_s=period_s, tag=tag)
    if not isinstance(reply, Readings):
        raise TypeError(f"expected Readings in reply to Read, found {reply!r}")
    return reply


MOST_TRIM = 0.02
"""A load whose current is wrong by more than 2 % is not trimmed: then something else is wrong."""


def trimmed_levels(
    visit: Callable[[float, float], Generator[Request, Reply, Readings]],
    channel: str,
    full: float,
    fractions: Sequence[float],
    unsure: Mapping[float, float] | None = None,
) -> Generator[Request, Reply, dict[float, float]]:
    """Find the levels (A) at which the current itself, not the load's setting, is each fraction.

    The load is set to the lowest and the highest level, and what the ammeter says is wrong with it
    there is taken off by a straight line. `visit` reads at a fraction and a level. `unsure` says by
    how much (A) resistors beside the load may put a fraction off: where any do, every fraction is
    visited and corrected by itself, as what they are wrong by is no straight line.
    """
    low, high = min(fractions), max(fractions)
    stray = {f: a for f, a in (unsure or {}).items() if a > 0.0}
    errors = {}
    for fraction in sorted(set(fractions)) if stray else (low, high):
        wanted = fraction * full
        found = mean_of((yield from visit(fraction, wanted)), channel)
        errors[fraction] = found - wanted
    if not all(
        abs(error) <= MOST_TRIM * f * full + LEAST_TRIM_A + stray.get(f, 0.0)
        for f, error in errors.items()
    ):
        return {fraction: fraction * full for fraction in fractions}
    if stray:
        return {fraction: fraction * full - errors[fraction] for fraction in fractions}
    slope = (errors[high] - errors[low]) / (high - low) if high > low else 0.0
    return {
        fraction: fraction * full - errors[low] - slope * (fraction - low) for fraction in fractions
    }


def unsure_by(
    context: Context,
    voltage: float,
    full: float,
    fractions: Sequence[float],
    hands: tuple[int, ...] | None = None,
) -> dict[float, float]:
    """Return by how much (A) resistors beside the load may put each fraction of a current off."""
    load = context.bench.load
    return {f: load.share(voltage, f * full, hands).unsure for f in fractions if f > 0.0}


LEAST_TRIM_A = 0.02
"""Loads are wrong by up to some 20 mA at small currents (common practice, no source)."""


def mean_of(readings: Readings, channel: str) -> float:
    """Return the mean of a channel in a reply (NaN if any reading is)."""
    return float(readings.value[channel].mean())
