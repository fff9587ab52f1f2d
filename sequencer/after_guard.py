"""What to do once a guard ended a limit sweep: the unit's own limit stands above the guard."""

from sequencer.documents.quantities import format_quantity
from sequencer.results import Tripped

REMEDIES = {
    "the unit's ratings": "it follows from the greatest current in the unit document, so "
    "state there, as at_most of limit_current or short_current, what the unit may give",
    "the load's rating": "that takes a load that is rated for more",
}
"""By where a bound comes from; anything else is a document that states the guard itself."""


def advice(guard: Tripped | None, trial: str) -> str:
    """Return what happened to a limit sweep that a guard on current or power ended, and what to do.

    Empty where another trial was running, or something else ended the run.
    """
    if guard is None or guard.bound is None or trial != "limit_sweep":
        return ""
    if not guard.channel.startswith(("current.", "power.")):
        return ""
    remedy = REMEDIES.get(guard.source, f"it is a guard that {guard.source} states")
    return (
        f"The unit's current limit lies above what the guard of {guard.channel} allows "
        f"({format_quantity(guard.bound, guard.unit)}, by {guard.source}), so the guard ended the "
        "sweep. If the limit should be lower, turn it down and measure again. If it may be so high "
        f"and load and wiring take it, raise the guard knowingly: {remedy}."
    )
