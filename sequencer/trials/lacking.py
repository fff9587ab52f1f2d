"""Which figures a bench can't give for want of a channel, and which trials not at all."""

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from pydantic import BaseModel

from sequencer.documents.trial_names import serves
from sequencer.trials.trial import Context, Trial


def lacking(trial: Trial[Any], settings: BaseModel, context: Context) -> dict[str, str]:
    """Return by figure why this bench can't give it, though the trial can be done on it.

    Figures that need the same channel share one sentence.
    """
    wanted = trial.lacks(settings, context)
    return {name: _sentence(_needing(wanted, what), what) for name, what in wanted.items()}


def trials_out_of_reach(
    trials: Iterable[Trial[Any]], channels: Collection[str]
) -> Mapping[str, tuple[str, ...]]:
    """Return the trials that can't be done on a bench, each with the channels that it lacks."""
    found = {
        trial.name: tuple(
            need for need in trial.needs if not any(serves(one, need) for one in channels)
        )
        for trial in trials
    }
    return {name: needs for name, needs in found.items() if needs}


def _needing(wanted: Mapping[str, str], what: str) -> tuple[str, ...]:
    return tuple(name for name, needed in wanted.items() if needed == what)


def _sentence(names: tuple[str, ...], what: str) -> str:
    words = [name.replace("_", " ") for name in names]
    named = " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))
    need = "needs" if len(words) == 1 else "need"
    return f"Not given on this bench: {named} ({need} {what})."
