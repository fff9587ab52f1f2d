"""Parts of a budget that come from readings, named by channel and unit as the meters' own are."""

from dataclasses import replace

from sequencer.results import Component


def of(part: Component, channel: str, unit: str = "") -> Component:
    """Return a component with the channel that it was read from, and its own SI unit.

    A stated unit stays right when the component is carried on into another figure; without one it
    is the figure's.
    """
    return replace(part, name=f"{part.name} ({channel})", unit=unit)
