"""Whether the unit was warm when a trial began, as far as a profile can say it."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from pydantic import BaseModel

from sequencer.documents.quantities import format_quantity
from sequencer.results import Figure
from sequencer.trials import heat, soaked
from sequencer.trials.trial import Context

OF_WIRES = frozenset({"sense_check"})
"""Trials whose figures are those of leads, whatever the unit's temperature."""


def held_at_load_s(settings: BaseModel, context: Context) -> float:
    """Return for how long a trial keeps the unit under its full load, s."""
    if isinstance(settings, soaked.Settings):
        return soaked.warm_up_s(settings, context) + settings.duration
    return settings.duration if isinstance(settings, heat.Settings) else 0.0


def cold_trials(planned: Iterable[tuple[str, BaseModel]], context: Context) -> tuple[str, ...]:
    """Return the trials whose figures depend on a warm unit and that nothing warmed up for.

    Parameters
    ----------
    planned
        Each trial's name and settings, in order. A soak warms up for itself.
    """
    held = 0.0
    cold: list[str] = []
    for name, settings in planned:
        itself = name in OF_WIRES or isinstance(settings, soaked.Settings | heat.Settings)
        if held < context.unit.unit.warm_up and not itself:
            cold.append(name)
        held += held_at_load_s(settings, context)
    return tuple(cold)


def not_warmed_up(cold: Sequence[str], context: Context) -> str:
    """Say which trials met a unit that nobody warmed up; empty where there is none."""
    if not cold:
        return ""
    return (
        f"Not warmed up: the unit document asks for {_asked(context)} at full load, and nothing "
        f"before {', '.join(name.replace('_', ' ') for name in cold)} in this profile does that. "
        "Each point is visited again, so that drift cancels, but these figures are those of a unit "
        "that is still warming. For promises that hold for a warm unit put a soak before them."
    )


def marked_cold(figures: Iterable[Figure], cold: Sequence[str], context: Context) -> list[Figure]:
    """Return figures with a note on those that were measured without the warm-up asked for."""
    note = f"Measured without the warm-up of {_asked(context)} that the unit document asks for."
    return [replace(one, notes=(*one.notes, note)) if one.trial in cold else one for one in figures]


def _asked(context: Context) -> str:
    return format_quantity(context.unit.unit.warm_up, "s", 3)
