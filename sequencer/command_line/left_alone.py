"""Leaving a run alone: what stands against it, said by `check` and `plan`, refused by `run`."""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from sequencer.documents.load import Documents
from sequencer.errors import Exit, SteadyrailError, UsageError
from sequencer.outputs.words import judged
from sequencer.planning import Plan
from sequencer.result import Result
from sequencer.run.bounds import guard_bounds
from sequencer.run.notify import Notifier, address_of, notifier_of, possible
from sequencer.run.unattended import obstacles

TRY_S = 30.0
"""A mail server may take that long; nothing waits for it but the start."""


def reasons_against(
    documents: Documents, plan: Plan, environment: Mapping[str, str] = os.environ
) -> tuple[str, ...]:
    """Return why a run must not be left alone."""
    notifies = bool(address_of(documents.bench, environment)) and possible()
    return obstacles(documents, plan, guard_bounds(documents), notifies=notifies)


def refuse_if_not_ready(documents: Documents, plan: Plan) -> None:
    """Refuse to start unattended.

    Where somebody has to be notified, a message is sent, and its delivery waited for.

    Raises
    ------
    UsageError
        With every reason; nothing was energised.
    """
    found = reasons_against(documents, plan)
    wanted = documents.profile.unattended
    if not found and wanted is not None and wanted.notification:
        notifier = notifier_of(documents)
        notifier.tell("about to start", "Nobody will be there. This message shows the way to you.")
        found = tuple(f"nobody would be notified ({failure})" for failure in notifier.finish(TRY_S))
    if found:
        raise UsageError(
            "Nothing was energised: this run must not be left alone: "
            + "; ".join(found)
            + ". Mend that, or stay with it and leave out --unattended."
        )


@contextmanager
def told(documents: Documents) -> Iterator[None]:
    """Tell a person what a run ended by that came to no end of its own, such as a failed start."""
    try:
        yield
    except BaseException as error:
        if not isinstance(error, UsageError):  # of their own mistakes people know
            notifier = notifier_of(documents)
            notifier.tell("ended without a verdict", f"{type(error).__name__}: {error}")
            notifier.finish()
        raise


def tell_stopped(notifier: Notifier, stopped: SteadyrailError | None, safe: str) -> None:
    """Tell that a run was stopped, and whether the bench was made safe."""
    if stopped is None:
        return
    subject = {Exit.GUARD: "guard tripped", Exit.INSTRUMENT: "lost instrument"}.get(
        stopped.exit_code, "stopped"
    )
    notifier.tell(subject, f"{stopped}\n{safe}")


def tell_finished(notifier: Notifier, result: Result) -> None:
    """Tell the outcome, the verdicts and what is alarming."""
    verdicts = [
        f"{judged(one, one.figure.replace('_', ' '))}: {one.outcome}" for one in result.verdicts
    ]
    notifier.tell(f"finished, {result.outcome}", "\n".join(filter(None, (result.alarm, *verdicts))))
