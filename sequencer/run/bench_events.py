"""What drivers report (a link opened anew, an error found) on its way to the record."""

from sequencer.record.write import RecordWriter


class BenchEvents:
    """Keep events until there is a record, then write them there."""

    def __init__(self) -> None:
        self._waiting: list[tuple[str, str]] = []
        self._writer: RecordWriter | None = None
        self._last_time = 0.0

    def __call__(self, kind: str, text: str) -> None:
        """Take one event from the drivers."""
        if self._writer is None:
            self._waiting.append((kind, text))
        else:
            self._writer.event(self._last_time, kind, "warning", text)

    def at(self, bench_time: float) -> None:
        """Learn the bench time, which events carry; the drivers must not ask the clock for it."""
        self._last_time = bench_time

    def attach(self, writer: RecordWriter) -> None:
        """Write what has waited, and from now on everything, to a record."""
        self._writer = writer
        for kind, text in self._waiting:
            self(kind, text)
        self._waiting.clear()
