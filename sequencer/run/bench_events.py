"""What drivers report (a link opened anew, an error found) on its way to the record."""

from sequencer.record.write import RecordWriter

MOST_ALIKE = 5
"""An instrument that is lost for good would fill the record with one and the same line."""

ALIKE_S = 60.0
MOST_KNOWN = 1000


class BenchEvents:
    """Keep events until there is a record, then write them there; of equal ones only a few."""

    def __init__(self) -> None:
        self._waiting: list[tuple[str, str]] = []
        self._writer: RecordWriter | None = None
        self._last_time = 0.0
        self._told: dict[tuple[str, str], tuple[int, float]] = {}

    def __call__(self, kind: str, text: str) -> None:
        """Take one event from the drivers."""
        now = self._last_time
        count, last = self._told.pop((kind, text), (0, now))
        count = count + 1 if now - last < ALIKE_S else 1
        self._told[kind, text] = (count, now)
        if len(self._told) > MOST_KNOWN:
            del self._told[next(iter(self._told))]
        if count <= MOST_ALIKE:
            more = " (More like this within a minute are not written.)"
            self._write(kind, text + more if count == MOST_ALIKE else text)

    def _write(self, kind: str, text: str) -> None:
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
            self._write(kind, text)
        self._waiting.clear()
