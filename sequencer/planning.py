"""The plan: what a run will do, rehearsed with the same procedures, and what it will cover."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from sequencer.documents.load import Documents
from sequencer.errors import FigureError
from sequencer.judging import PromisedLimit, promised_limits
from sequencer.order import Order, order_of
from sequencer.record.read import Step
from sequencer.results import Coverage, Figure, Rule
from sequencer.run.loop import perform
from sequencer.run.rehearsal import PlannedStep, Rehearsal
from sequencer.trials.lacking import lacking, trials_out_of_reach
from sequencer.trials.registry import trials
from sequencer.trials.trial import Evidence
from sequencer.verdicts.beforehand import Beforehand, beforehand
from sequencer.verdicts.coverage import check_coverage
from sequencer.verdicts.judge import judge


@dataclass(frozen=True, slots=True)
class PlannedTrial:
    """One trial of the plan; `number` is its place in the profile, from 0."""

    name: str
    summary: str
    steps: tuple[PlannedStep, ...]
    number: int = 0

    @property
    def duration_s(self) -> float:
        """How long the trial is expected to last."""
        return sum(step.duration_s for step in self.steps)


@dataclass(frozen=True, slots=True)
class PlannedLimit:
    """Whether a limit's condition will be measured; not `measured` if no trial gives its figure.

    `beforehand`: where it is covered, how well it could be judged on a nominal unit. `perhaps`: a
    trial gives the figure where the unit shows it, as a nominal one does not.
    """

    figure: str
    measured: bool
    covered: bool
    coverage: Coverage | None
    why: str
    beforehand: Beforehand | None = None
    perhaps: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """What a run will do and cover; trials in the order in which they are done.

    `lacking` says by figure why the bench can't give it, `out_of_reach` by trial outside the
    profile which channels the bench would have to have.
    """

    trials: tuple[PlannedTrial, ...]
    limits: tuple[PlannedLimit, ...]
    order: Order = field(default_factory=lambda: Order(()))
    lacking: Mapping[str, str] = field(default_factory=dict)
    out_of_reach: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def duration_s(self) -> float:
        """How long the whole run is expected to last."""
        return sum(trial.duration_s for trial in self.trials)


def make_plan(documents: Documents) -> Plan:
    """Rehearse every trial of the profile on a nominal unit; nothing on the bench is touched."""
    order = order_of(documents)
    planned: list[PlannedTrial] = []
    figures: list[Figure] = []
    reasons: dict[str, str] = {}
    lacks: dict[str, str] = {}
    unshown: dict[str, str] = {}
    limits = promised_limits(documents)
    promised = {limit.figure for limit in limits}
    start_s = 0.0
    knobs: Mapping[str, float | str | bool] = {}
    for turn in order.turns:
        trial, settings, context = turn.trial, turn.settings, turn.context
        rehearsal = Rehearsal(documents.unit, documents.bench, start_s, knobs)
        perform(trial.procedure(settings, context), rehearsal)
        planned.append(PlannedTrial(trial.name, trial.summary, tuple(rehearsal.plan), turn.number))
        start_s, knobs = rehearsal.now_s, rehearsal.knobs
        steps: tuple[Step, ...] = tuple(rehearsal.steps)
        evidence = Evidence(trial.name, context, steps)
        try:
            found = trial.figures(settings, evidence)
            figures += found
            if promised & {*trial.gives} - {figure.name for figure in found}:
                unshown |= trial.cannot(settings, evidence)
        except FigureError as error:
            reasons |= dict.fromkeys(trial.gives, str(error))
        lacks |= lacking(trial, settings, context)
    rule, why = documents.profile.profile.rule, Reasons(reasons | lacks, unshown)
    return Plan(
        tuple(planned),
        tuple(_cover(one, figures, why, rule) for one in limits),
        order,
        lacks,
        trials_out_of_reach(trials().values(), documents.bench.channels),
    )


@dataclass(frozen=True, slots=True)
class Reasons:
    """Why figures don't come out, by name: on any unit, or on a nominal one."""

    surely: Mapping[str, str]
    nominal: Mapping[str, str]


def _cover(
    limit: PromisedLimit, figures: list[Figure], reasons: Reasons, rule: Rule
) -> PlannedLimit:
    found = [figure for figure in figures if figure.name == limit.figure]
    if not found and limit.figure in reasons.surely:
        return PlannedLimit(limit.figure, True, False, None, reasons.surely[limit.figure])
    if not found and limit.figure in reasons.nominal:
        why = f"On a nominal unit: {reasons.nominal[limit.figure]}"
        return PlannedLimit(limit.figure, True, False, None, why, perhaps=True)
    if not found:
        why = "no trial of this profile measures it"
        return PlannedLimit(limit.figure, False, False, None, why)
    checks = [check_coverage(figure.reached, limit.condition) for figure in found]
    best, figure = next(
        ((check, one) for check, one in zip(checks, found, strict=True) if check.covered),
        (checks[0], found[0]),
    )
    known = beforehand(figure, judge([figure], [limit], rule)[0]) if best.covered else None
    return PlannedLimit(limit.figure, True, best.covered, best.coverage, best.why, known)
