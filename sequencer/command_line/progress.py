"""Progress of a run on a terminal: which trial, how far, and the time left on the bench."""

from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, TextColumn
from rich.progress import Progress as Bar

from sequencer.documents.quantities import format_quantity
from sequencer.planning import Plan


class Progress:
    """A bar on the error console; `plain`, or without a terminal, a line at each trial's start.

    A person who is prompted at the same terminal gets it plain.
    """

    def __init__(self, console: Console, plan: Plan, *, plain: bool = False) -> None:
        self._console = console
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

    def at(self, bench_time: float) -> None:
        """Show how far bench time has come."""
        if not self._plain:
            self._bar.update(self._task, completed=bench_time, left=self._left(bench_time))

    def trial(self, name: str) -> None:
        """Show which trial runs."""
        self._bar.update(self._task, description=name)
        if self._plain:
            self._console.print(f"{name} …")

    def _left(self, bench_time: float) -> str:
        return format_quantity(max(self._total_s - bench_time, 0.0), "s", 2)
