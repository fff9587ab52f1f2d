"""Whether the unit was warm when a trial began, as far as a profile can say it."""

from collections.abc import Iterable

from pydantic import BaseModel

from sequencer.trials import heat, soak
from sequencer.trials.trial import Context


def held_at_load_s(settings: BaseModel, context: Context) -> float:
    """Return for how long a trial keeps the unit under its full load, s."""
    if isinstance(settings, soak.Settings):
        return soak.warm_up_s(settings, context) + settings.duration
    return settings.duration if isinstance(settings, heat.Settings) else 0.0


def not_warmed_up(planned: Iterable[tuple[str, BaseModel]], context: Context) -> str:
    """Say which trials meet a unit that nobody warmed up; empty where there is none.

    Parameters
    ----------
    planned
        Each trial's name and settings, in order. A soak warms up for itself.
    """
    wanted = context.unit.unit.warm_up
    held = 0.0
    cold: list[str] = []
    for name, settings in planned:
        if held < wanted and not isinstance(settings, soak.Settings | heat.Settings):
            cold.append(name)
        held += held_at_load_s(settings, context)
    if not cold or not wanted:
        return ""
    return (
        f"Not warmed up: the unit document asks for {wanted / 60:.3g} min, and nothing before "
        f"{', '.join(name.replace('_', ' ') for name in cold)} keeps the unit at full load for so "
        "long. Visits to no load around each level cancel its drift, but these figures are those "
        "of a unit that is still warming. A soak first, in the same profile, would warm it."
    )
