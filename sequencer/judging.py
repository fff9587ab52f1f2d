"""From a record to its result: figures, verdicts and charts, computed from the file alone."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from pydantic import BaseModel

from sequencer.documents.bounds import Bound
from sequencer.documents.limits import Condition, same_setting
from sequencer.documents.load import Documents
from sequencer.documents.whole import settings_of
from sequencer.errors import FigureError
from sequencer.record.read import Step
from sequencer.results import Chart, Figure, Verdict
from sequencer.trials.lacking import lacking
from sequencer.trials.readiness import cold_trials, marked_cold, not_warmed_up
from sequencer.trials.registry import trials
from sequencer.trials.thermal_tail import FELL
from sequencer.trials.trial import Context, Evidence, Trial
from sequencer.verdicts.apart import named, spoken, told_apart
from sequencer.verdicts.judge import judge, with_coverage


@dataclass(frozen=True, slots=True)
class PromisedLimit:
    """A limit of the unit as the judge sees it."""

    figure: str
    condition: Condition
    bound: Bound
    unit: str

    def lower(self, setting: float) -> float | None:
        """Return the lower bound at a setting, SI."""
        return self.bound.resolve(setting)[0]

    def upper(self, setting: float) -> float | None:
        """Return the upper bound at a setting, SI."""
        return self.bound.resolve(setting)[1]


@dataclass(frozen=True, slots=True)
class Judged:
    """What a run's evidence amounts to; `notes` says what could not be computed or judged.

    `fell` says that the output gave way for a time under a load that the unit should deliver: then
    nothing is passed, whatever the limits say.
    """

    figures: tuple[Figure, ...]
    verdicts: tuple[Verdict, ...]
    charts: tuple[Chart, ...]
    notes: tuple[str, ...]
    fell: str = ""


def planned_trials(documents: Documents) -> tuple[tuple[Trial[Any], BaseModel], ...]:
    """Return each trial of the profile with its validated settings, in order."""
    known = trials()
    return tuple(
        (known[entry.trial], settings_of(entry, known[entry.trial].settings))
        for entry in documents.profile.trials
    )


def not_warmed(documents: Documents, context: Context) -> tuple[str, ...]:
    """Return the profile's trials that meet a unit which nothing warmed up."""
    planned = ((trial.name, settings) for trial, settings in planned_trials(documents))
    return cold_trials(planned, context)


def promised_limits(documents: Documents) -> tuple[PromisedLimit, ...]:
    """Return the unit's limits as the judge sees them, in their order."""
    return tuple(
        PromisedLimit(limit.judged_figure, limit.condition, limit.bound, limit.unit)
        for limit in documents.unit.limits
    )


def looked_at(documents: Documents) -> tuple[tuple[PromisedLimit, str, bool], ...]:
    """Return each limit with what tells it apart, and whether the profile sets out to measure it.

    It does where one of its trials gives the figure, but for trials at the voltage of other
    promises: a unit of two ranges may have a profile for each. A trial at a voltage that nothing
    is promised for is no reason to leave a limit out.
    """
    limits = promised_limits(documents)
    stated_at = (limit.condition.voltage for limit in limits)
    promised = sorted({one for one in stated_at if one is not None})
    at: dict[str, list[float | None]] = {}
    for trial, settings in planned_trials(documents):
        set_to = getattr(settings, "voltage", None)
        near = (one for one in promised if set_to is not None and same_setting(set_to, one))
        meant = next(near, None)
        for name in trial.gives:
            at.setdefault(name, []).append(meant)
    looked = []
    for limit, name in zip(limits, told_apart(limits), strict=True):
        apart = name
        stated, trials_at = limit.condition.voltage, at.get(limit.figure, [])
        here = any(one is None or stated is None or same_setting(one, stated) for one in trials_at)
        if stated is not None and trials_at and not here and not apart:
            apart = spoken("voltage", stated)
        looked.append((limit, apart, here))
    return tuple(looked)


def judge_evidence(
    documents: Documents, steps: Sequence[Sequence[Step]], when: date | None = None
) -> Judged:
    """Compute figures, verdicts and charts.

    Parameters
    ----------
    documents
        As they were given to the run.
    steps
        For each trial of the profile the steps of its procedure, as far as they went.
    when
        The day of the run: meters are as old since their calibration as they were then.

    Notes
    -----
    Only limits whose figure one of the profile's trials gives, at their voltage, are judged; the
    others are named in the notes, so that nobody takes them for kept.
    """
    context = Context(documents.unit, documents.bench, when)
    figures: list[Figure] = []
    charts: list[Chart] = []
    notes: list[str] = []
    reasons: dict[str, str] = {}
    beyond: dict[str, Figure] = {}
    for number, (trial, settings) in enumerate(planned_trials(documents)):
        evidence = Evidence(
            trial.name, context, tuple(steps[number]) if number < len(steps) else ()
        )
        try:
            found = trial.figures(settings, evidence)
            figures.extend(found)
            reasons |= trial.cannot(settings, evidence)
            reasons |= lacking(trial, settings, context)
            charts.extend(trial.charts(settings, evidence, found))
        except FigureError as error:
            reasons |= dict.fromkeys(trial.gives, str(error))
            beyond |= trial.beyond(settings, evidence)
        except Exception as error:  # noqa: BLE001  # a run's other results must not be lost with it
            fault = f"a fault of the program: {type(error).__name__}: {error}"
            reasons |= dict.fromkeys(trial.gives, f"{trial.name} could not be computed, {fault}")
    looked = looked_at(documents)
    left = [(limit.figure, apart) for limit, apart, judged_here in looked if not judged_here]
    if left:
        told = (named(name.replace("_", " "), apart) for name, apart in left)
        notes.append(
            f"Not judged here, as no trial of this profile measures it: {', '.join(told)}."
        )
    measured = {figure.trial for figure in figures}
    cold = tuple(name for name in not_warmed(documents, context) if name in measured)
    figures = marked_cold(figures, cold, context)
    notes += filter(None, (not_warmed_up(cold, context),))
    judged = [(limit, apart) for limit, apart, judged_here in looked if judged_here]
    verdicts = judge(
        figures,
        [limit for limit, _ in judged],
        documents.profile.profile.rule,
        reasons,
        beyond,
        names=[apart for _, apart in judged],
    )
    seen = {verdict.why for verdict in verdicts}
    computed = {figure.name for figure in figures}
    notes += dict.fromkeys(why for name, why in reasons.items() if name not in computed)
    notes = [note for note in dict.fromkeys(notes) if note not in seen]
    fell = next((why for why in reasons.values() if why.startswith(FELL)), "")
    covered = with_coverage(figures, [limit for limit, _ in judged])
    return Judged(covered, verdicts, tuple(charts), tuple(notes), fell)
