"""What a run says of a point that did not become steady."""

from math import nan

from sequencer.requests import Applied, LoadState, Note, Settled
from sequencer.trials.steps import read_at


def test_a_channel_read_too_seldom_is_said_to_be_so_and_not_to_move_by_nan() -> None:
    steps = read_at(
        LoadState("current", 0.75, on=True),
        channels=("voltage.sense",),
        tolerance={"voltage.sense": 1e-3, "voltage.load": 1e-3},
        readings=2,
        period_s=0.25,
        tag={},
    )
    next(steps)
    steps.send(Applied(at=0.0, read_back={}))
    slopes = {"voltage.sense": nan, "voltage.load": 2e-3}
    note = steps.send(
        Settled(at=30.0, settled=False, waited_s=30.0, slope_per_s=slopes, scatter=slopes)
    )
    assert isinstance(note, Note)
    assert "voltage.sense is read too seldom to tell whether it is steady" in note.text
    assert "voltage.load moves by 0.002 per second" in note.text
    assert "nan" not in note.text
