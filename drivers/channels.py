"""Channels: which question reads one, and which settings it needs before."""

from collections.abc import Sequence

from drivers.errors import RefusedSetting
from drivers.instrument import Asking, Instrument
from drivers.roles import ChannelSpec
from drivers.settings import Change, change


def asking(instrument: Instrument, channel: ChannelSpec) -> Asking:
    """Return the question that reads a channel; its answer may take the integration time longer.

    Raises
    ------
    UnknownDialect
        When the dialect can't measure the channel's function.
    """
    return instrument.asking(
        channel.function, input_=channel.input, more_s=channel.integration_s or 0.0
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


def configure(instrument: Instrument, channels: Sequence[ChannelSpec]) -> None:
    """Make the channels' settings now, and again whenever the link was reopened."""
    needed = changes(instrument, channels)
    if not needed:
        return

    def again() -> None:
        change(instrument, needed)

    instrument.once_more(again)
    instrument.session.on_reopened = again
