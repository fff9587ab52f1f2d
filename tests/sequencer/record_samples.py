"""A small run's record, made to be tested."""

from collections.abc import Callable, Sequence
from math import nan
from pathlib import Path

import numpy as np

from drivers.roles import Reading
from sequencer.record.write import RecordWriter
from sequencer.requests import Applied, Apply, LoadState, Read, Readings, Settle, Settled

WALL = "2026-03-01T12:00:00.000+00:00"
DOCUMENTS = {
    "unit": ("units/w-17.toml", '[unit]\ntag = "W-17"\n'),
    "bench": ("benches/simulated.toml", "[bench]\n"),
    "profile": ("soak.toml", "[profile]\n"),
}
CHANNELS = ("voltage.sense", "voltage.load")
APPLY = Apply(LoadState("current", 3.0, on=True))
SETTLE = Settle({"voltage.sense": 1e-3}, 5.0, 1.0, 60.0)
READ = Read(CHANNELS, 3, 1.0, {"point": "full load", "level": 3.0})
CUT_OFF = Read(CHANNELS, 100, 1.0, {"point": "soak"})


def new_writer(
    path: Path, monotonic: Callable[[], float] = lambda: 0.0, **options: object
) -> RecordWriter:
    """Make a record whose clocks stand still unless told otherwise."""
    return RecordWriter.create(
        path,
        documents=DOCUMENTS,
        versions={"steadyrail": "0.1.0"},
        options={"seed": 7, **options},
        wall=lambda: WALL,
        monotonic=monotonic,
    )


def tick(number: int, channels: Sequence[str] = CHANNELS) -> list[Reading]:
    """Return the readings of one tick; the third of voltage.load is an overload."""
    found = []
    for place, channel in enumerate(channels):
        over = number == 2 and channel == "voltage.load"
        found.append(
            Reading(
                channel,
                nan if over else 30.0 - 1e-4 * number - 1e-3 * place,
                "9.9E37" if over else f"{30.0 - 1e-4 * number - 1e-3 * place:+.8E}",
                number + 0.001,
                number + 0.101,
                "overload" if over else "",
            )
        )
    return found


def arrays(ticks: int) -> Readings:
    """Return the same readings as a reply holds them."""
    rows = [reading for number in range(ticks) for reading in tick(number)]

    def column(name: str) -> dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]]:
        return {c: np.array([getattr(r, name) for r in rows if r.channel == c]) for c in CHANNELS}

    return Readings(column("asked_at"), column("answered_at"), column("value"))


def write_run(writer: RecordWriter) -> None:
    """Write a trial with an Apply, a Settle, a Read with guards' readings, and a Read cut off."""
    writer.identities({"load": "WORKSHOP,LOAD-A,SIM0001,1.0"})
    writer.begin_trial(0, "soak", '{"hours":8}')
    seq = writer.begin_request(APPLY, 1.0)
    writer.end_request(seq, Applied(1.5, {"level": 3.0, "on": True}))
    seq = writer.begin_request(SETTLE, 2.0)
    writer.add_readings(seq, 0, tick(0, ("voltage.sense",)), "settle")
    writer.end_request(seq, Settled(7.0, True, 5.0, {"voltage.sense": 0.0}, {"voltage.sense": 0.0}))
    seq = writer.begin_request(READ, 8.0)
    for number in range(3):
        writer.add_readings(seq, number, tick(number), "read")
        writer.add_readings(seq, number, tick(number, ("temperature.heatsink",)), "watch")
    writer.end_request(seq, arrays(3))
    writer.event(11.0, "late", "warning", "1 of 3 readings came too late: 30 V µΩ", {"count": 1})
    seq = writer.begin_request(CUT_OFF, 12.0)
    writer.add_readings(seq, 0, tick(0), "read")
    writer.add_readings(seq, 1, tick(1), "read")
    writer.event(nan, "stopped", "alarm", "a guard tripped", {"exit": 4})
