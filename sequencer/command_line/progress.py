"""Progress of a run: a bar on a terminal, in a log a line now and then."""

import time
from collections.abc import Callable
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, TextColumn
from rich.progress import Progress as Bar

from sequencer.documents.quantities import format_quantity
from sequencer.planning import Plan

LINES = 20
"""So many lines tell a log of a night enough."""

QUIET_S = 30.0
"""Simulated nights pass in a minute: a log needs no more lines than this lets through."""


class Progress:
    """A bar on the error console; `plain`, or without a terminal, a line at each trial's start.

    A person who is prompted at the same terminal gets it plain. Where there is no terminal (a log),
    a line tells how far the run is: one every twentieth of it, none sooner than half a minute of
    real time after the last.
    """

    def __init__(
        self,
        console: Console,
        plan: Plan,
        *,
        plain: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._console = console
        self._clock = clock
        self._logs = not console.is_terminal
        self._name = "start"
        self._said_s, self._said_at = 0.0, clock()
        self._lasts = {trial.name: trial.duration_s for trial in plan.trials}
        self._plain = plain or not console.is_terminal
        self._total_s = plan.duration_s
        self._bar = Bar(
            TextColumn("{task.description}"),
            BarColumn(),
            TextColumn("{task.percentage:>3.0f} %  {task.fields[left]} left"),
            console=console,
            transient=True,
            disable=plain or not console.is_terminal,
        )
        self._task = self._bar.add_task("start", total=self._total_s, left=self._left(0.0))

    def __enter__(self) -> Self:
        """Show the bar."""
        self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Take the bar away."""
        self._bar.stop()

    def expect(self, bench_time: float, left_s: float) -> None:
        """Learn how much is left at a bench time, as of a run that goes on."""
        self._total_s = bench_time + left_s
        self._bar.update(self._task, total=self._total_s)
        self.at(bench_time)

    def at(self, bench_time: float) -> None:
        """Show how far bench time has come."""
        if not self._plain:
            self._bar.update(self._task, completed=bench_time, left=self._left(bench_time))
        elif self._logs and bench_time - self._said_s >= self._total_s / LINES:
            self._log(bench_time)

    def trial(self, name: str) -> None:
        """Show which trial runs."""
        self._name = name
        self._bar.update(self._task, description=name)
        if self._plain:
            lasts = self._lasts.get(name)
            about = "" if lasts is None else f" about {format_quantity(lasts, 's', 2)}"
            self._console.print(f"{name} …{about}", markup=False)
            self._said_at = self._clock()

    def _log(self, bench_time: float) -> None:
        """Say how far the run is, unless something was said a moment ago."""
        now = self._clock()
        if now - self._said_at < QUIET_S:
            return
        self._said_s, self._said_at = bench_time, now
        done = min(bench_time / self._total_s, 1.0) if self._total_s else 1.0
        left = f"{self._left(bench_time)} of bench time left"
        line = f"  {self._name}: {100.0 * done:.0f} % of the run, {left}"
        self._console.print(line, markup=False, highlight=False)

    def _left(self, bench_time: float) -> str:
        return format_quantity(max(self._total_s - bench_time, 0.0), "s", 2)
