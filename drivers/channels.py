"""Channels: which question reads one, and which settings it needs before."""

from collections.abc import Mapping, Sequence
from math import isclose

from drivers.errors import RefusedSetting
from drivers.instrument import Asking, Instrument
from drivers.roles import ChannelSpec
from drivers.routing import Made, Scanner, Visit
from drivers.settings import FORMAT_LOSS, Change, change


def asking(instrument: Instrument, channel: ChannelSpec) -> Asking:
    """Return the question that reads a channel; its answer may take the integration time longer.

    Raises
    ------
    UnknownDialect
        When the dialect can't measure the channel's function.
    """
    return instrument.asking(
        channel.function,
        input_=channel.input,
        more_s=channel.integration_s or 0.0,
        as_volts=channel.reference is not None,
    )


def changes(instrument: Instrument, channels: Sequence[ChannelSpec]) -> tuple[Change, ...]:
    """Return the settings that the channels of one instrument need, each once.

    Raises
    ------
    RefusedSetting
        When two channels want different values of a setting that the instrument has once.
    UnknownDialect
        When the dialect can't make a setting that a channel asks for.
    """
    wanted: dict[tuple[str, str | None], tuple[float, str]] = {}
    for channel in channels:
        for name, value in (
            (f"{channel.function}_range", channel.range_max),
            (f"{channel.function}_integration", channel.integration_s),
        ):
            if value is None:
                continue
            per_input = "{input}" in instrument.setting(name).write
            key = (name, channel.input if per_input else None)
            other, first = wanted.setdefault(key, (value, channel.name))
            if other != value:
                raise RefusedSetting(
                    instrument=instrument.name,
                    address=instrument.session.spec.address,
                    found=f"channels {first} and {channel.name} want its {name} to be "
                    f"{other:g} and {value:g} at the same time",
                    remedy="Give both the same value in the bench document.",
                )
    return tuple(Change(name, value, input_) for (name, input_), (value, _) in wanted.items())


def range_in_use(instrument: Instrument, channel: ChannelSpec) -> float | None:
    """Return the range that an instrument said to have taken for a channel.

    In the unit of its own answer; None where it did not say, or said what was asked for.
    """
    wanted = channel.range_max
    if wanted is None:
        return None
    setting = f"{channel.function}_range"
    said = (instrument.ranges.get((setting, one, wanted)) for one in (channel.input, None))
    got = next((one for one in said if one is not None), None)
    return None if got is None or isclose(got, wanted, rel_tol=FORMAT_LOSS) else got


def prove(
    instrument: Instrument, channels: Sequence[ChannelSpec], roles: Mapping[str, str]
) -> None:
    """Raise unless an instrument can read its channels; `roles` are those of all instruments.

    Raises
    ------
    UnknownDialect, RefusedSetting
        For a question or a setting that it lacks, or a scanner that can't stand before it.
    """
    for channel in channels:
        asking(instrument, channel)
    if any(channel.through is not None for channel in channels):
        for channel in channels:
            changes(instrument, (channel,))
            _refuse_unrouted(instrument, channel, channels[0].through, roles)
    else:
        changes(instrument, channels)


def _refuse_unrouted(
    instrument: Instrument,
    channel: ChannelSpec,
    scanner: str | None,
    roles: Mapping[str, str],
) -> None:
    found = None
    if channel.through is None or channel.through != scanner:
        found = f"channel {channel.name} is not behind the scanner that others of it are behind"
        remedy = "Give all channels of one meter the same 'through'."
    elif channel.input is None:
        found, remedy = f"channel {channel.name} is behind a scanner", "Give it an 'input'."
    elif channel.through not in roles:
        found = f"channel {channel.name} is behind {channel.through!r}, which is not on the bench"
        remedy = f"The bench has: {', '.join(roles)}."
    elif roles[channel.through] != "scanner":
        found = f"channel {channel.name} is behind {channel.through}, which is no scanner"
        remedy = "Name an instrument whose role is scanner."
    if found is not None:
        raise RefusedSetting(
            instrument=instrument.name,
            address=instrument.session.spec.address,
            found=found,
            remedy=remedy,
        )


def visits_of(
    channels: Sequence[ChannelSpec], instruments: Mapping[str, Instrument]
) -> dict[str, Visit]:
    """Return what comes before each channel that is behind a scanner, as far as that is there."""
    scanners = {
        name: Scanner(i) for name, i in instruments.items() if i.session.spec.role == "scanner"
    }
    made: dict[str, Made] = {}
    found: dict[str, Visit] = {}
    for channel in channels:
        meter = instruments.get(channel.instrument)
        if channel.through in scanners and meter is not None:
            if meter.name not in made:
                made[meter.name] = Made(meter)
            needed = changes(meter, (channel,))
            found[channel.name] = Visit(
                scanners[channel.through], channel, made[meter.name], needed
            )
    return found


def configure(instrument: Instrument, channels: Sequence[ChannelSpec]) -> None:
    """Make the channels' settings now, and again whenever the link was reopened.

    A meter behind a scanner is set for one channel after the other, when they are read.
    """
    if any(channel.through is not None for channel in channels):
        return
    needed = changes(instrument, channels)
    if not needed:
        return

    def again() -> None:
        change(instrument, needed)

    instrument.once_more(again)
    instrument.session.on_reopened = again
