"""All trials that are known: our own, and those that other packages add by entry point."""

from functools import cache
from importlib.metadata import entry_points
from typing import Any

from sequencer.errors import UsageError
from sequencer.trials import (
    heat,
    limit_sweep,
    load_steps,
    output_off,
    sense_check,
    set_points,
    soak,
)
from sequencer.trials.trial import Trial

ENTRY_POINT_GROUP = "steadyrail.trials"

OWN = (
    load_steps.TRIAL,
    sense_check.TRIAL,
    limit_sweep.TRIAL,
    soak.TRIAL,
    set_points.TRIAL,
    output_off.TRIAL,
    heat.TRIAL,
)


@cache
def trials() -> dict[str, Trial[Any]]:
    """Return the trials by name.

    The settings' type differs from trial to trial, hence Any.

    Raises
    ------
    UsageError
        When another package adds a trial under a taken name, or something that is none.
    """
    found: dict[str, Trial[Any]] = {trial.name: trial for trial in OWN}
    for entry in entry_points(group=ENTRY_POINT_GROUP):
        trial = entry.load()
        if not isinstance(trial, Trial) or trial.name in found:
            raise UsageError(
                f"The entry point {entry.name} ({entry.value}) in {ENTRY_POINT_GROUP} gives "
                f"{trial!r}; expected a Trial with a name of its own beside {', '.join(found)}. "
                "Uninstall or mend the package that adds it."
            )
        found[trial.name] = trial
    return found
