"""The plan: what a run will do, rehearsed with the same procedures, and what it will cover."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from sequencer.documents.load import Documents
from sequencer.errors import FigureError
from sequencer.judging import PromisedLimit, looked_at, promised_limits
from sequencer.order import Order, order_of
from sequencer.record.read import Step
from sequencer.results import Coverage, Figure, Rule, Verdict
from sequencer.run.loop import perform
from sequencer.run.rehearsal import PlannedStep, Rehearsal
from sequencer.trials.lacking import lacking, trials_out_of_reach
from sequencer.trials.registry import trials
from sequencer.trials.trial import Evidence
from sequencer.verdicts.beforehand import Beforehand, beforehand
from sequencer.verdicts.coverage import CoverageCheck, check_coverage
from sequencer.verdicts.judge import judge
from sequencer.verdicts.settings import at_stated
from sequencer.verdicts.standing import more_words, standing, way_out


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
    trial gives the figure where the unit shows it, as a nominal one does not, or measures more than
    the limit's condition. `apart` tells the limit from others on the same figure.
    """

    figure: str
    apart: str
    measured: bool
    covered: bool
    coverage: Coverage | None = None
    why: str = ""
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


def make_plan(documents: Documents, when: date | None = None) -> Plan:
    """Rehearse every trial of the profile on a nominal unit; nothing on the bench is touched.

    `when` is the day of the run: meters are as old since their calibration as they are then.
    """
    order = order_of(documents)
    planned: list[PlannedTrial] = []
    figures: list[Figure] = []
    lacks: dict[str, str] = {}
    unshown: dict[str, str] = {}
    promised = {limit.figure for limit in promised_limits(documents)}
    start_s = 0.0
    knobs: Mapping[str, float | str | bool] = {}
    for turn in order.turns:
        trial, settings = turn.trial, turn.settings
        context = replace(turn.context, when=when)
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
            unshown |= dict.fromkeys(trial.gives, str(error))
        lacks |= lacking(trial, settings, context)
    rule, why = documents.profile.profile.rule, Reasons(lacks, unshown)
    return Plan(
        tuple(planned),
        tuple(
            _cover(one, apart, figures, why, rule)
            if here
            else PlannedLimit(one.figure, apart, measured=False, covered=False, why=NOT_HERE)
            for one, apart, here in looked_at(documents)
        ),
        order,
        lacks,
        trials_out_of_reach(trials().values(), documents.bench.channels),
    )


NOT_HERE = "no trial of this profile measures it"


@dataclass(frozen=True, slots=True)
class Reasons:
    """Why figures don't come out, by name: on any unit, or on a nominal one."""

    surely: Mapping[str, str]
    nominal: Mapping[str, str]


def _cover(
    limit: PromisedLimit, apart: str, figures: list[Figure], reasons: Reasons, rule: Rule
) -> PlannedLimit:
    found = [figure for figure in figures if figure.name == limit.figure]
    planned = PlannedLimit(limit.figure, apart, measured=True, covered=False)
    if not found and limit.figure in reasons.surely:
        return replace(planned, why=reasons.surely[limit.figure])
    if not found and limit.figure in reasons.nominal:
        why = f"On a nominal unit: {reasons.nominal[limit.figure]}"
        return replace(planned, why=why, perhaps=True)
    if not found:
        return replace(planned, why="A nominal unit gave no value of it.", perhaps=True)
    return _measured(planned, limit, [at_stated(one, limit.condition) for one in found], rule)


def _measured(
    planned: PlannedLimit, limit: PromisedLimit, found: list[Figure], rule: Rule
) -> PlannedLimit:
    checks = [check_coverage(figure.reached, limit.condition) for figure in found]
    ways = [standing(limit.figure, check) for check in checks]
    best = next((ways.index(way) for way in ("same", "at most") if way in ways), 0)
    check = checks[best]
    planned = replace(planned, coverage=check.coverage, why=check.why)
    if ways[best] == "same":
        verdict = judge([found[best]], [limit], rule)[0]
        if verdict.outcome == "not covered":  # a percentage of what nobody states
            return replace(planned, why=verdict.why)
        return replace(planned, covered=True, beforehand=_beforehand(found[best], verdict))
    if more := more_words(check):
        tells = " It will tell only if it passes there." if ways[best] == "at most" else ""
        short = check.why if check.short else ""
        why = f"{short} Measured to {more}.{tells} {way_out(check)}".strip()
        if ways[best] != "at most":
            return replace(planned, why=why)
        figure = _as_stated(found[best], check)
        known = _beforehand(figure, judge([figure], [limit], rule)[0])
        return replace(planned, why=why, perhaps=True, beforehand=known)
    return planned


def _as_stated(figure: Figure, check: CoverageCheck) -> Figure:
    """Return a figure as if no more than promised had been measured."""
    stated = {part.quantity: part.required for part in check.parts}
    return replace(figure, reached={**figure.reached, **stated})


def _beforehand(figure: Figure, verdict: Verdict) -> Beforehand | None:
    return beforehand(verdict.judged or figure, verdict)
