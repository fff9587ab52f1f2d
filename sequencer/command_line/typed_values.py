"""Values that a person has to type: how many a plan takes, and when that is too many."""

from collections.abc import Iterator

from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.errors import UsageError
from sequencer.planning import Plan
from sequencer.run.rehearsal import TYPING_S


def typed_values(plan: Plan) -> int:
    """Return how many values a person has to type."""
    return sum(step.typed for trial in plan.trials for step in trial.steps)


def typing_words(documents: Documents, plan: Plan) -> Iterator[str]:
    """Yield how many values each trial takes, and what nobody sees between them."""
    typed = sorted(documents.bench.typed)
    if not typed:
        return
    count = typed_values(plan)
    each = ", ".join(f"{t.name} {sum(step.typed for step in t.steps)}" for t in plan.trials)
    yield (
        f"Values to type: about {count} of {', '.join(typed)} ({each}), "
        f"{format_quantity(TYPING_S * count, 's', 2)} at {TYPING_S:g} s each. Fewer repeats, "
        "fractions or points take fewer."
    )
    if too_many := refusal(documents, plan):
        yield f"It would be refused: {too_many}"
    guarded = [c for c in typed if c in {**documents.bench.guards, **documents.profile.guards}]
    if guarded:
        yield (
            f"The guard of {', '.join(guarded)} sees only what is typed, and nothing in between: "
            "state it for a channel with an interface as well, such as the load's own reading."
        )


def refusal(documents: Documents, plan: Plan) -> str:
    """Say that a run takes more typed values than its profile allows; empty where it doesn't."""
    count, most = typed_values(plan), documents.profile.profile.typed_at_most
    if count <= most:
        return ""
    return (
        f"a person would have to type {count} values, more than {most}. Take fewer repeats, "
        "fractions or points, a longer period in a soak, or state typed_at_most under [profile]."
    )


def refuse_too_many(documents: Documents, plan: Plan) -> None:
    """Refuse a run that takes more typed values than its profile allows.

    Raises
    ------
    UsageError
        With the count; nothing was energised.
    """
    if found := refusal(documents, plan):
        raise UsageError(f"Nothing was energised: {found}")
