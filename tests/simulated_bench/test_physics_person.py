"""The simulated person turns the right knob, or is honest about not understanding."""

from pathlib import Path

import pytest

from simulated_bench.instruction import Intent, understand
from simulated_bench.scenario import load
from simulated_bench.world import World


def wait(world: World) -> str:
    for _ in range(60):
        if world.person.state()[0] != "BUSY":
            break
        world.advance_to(world.now + 0.5)
    return world.person.state()[0]


def tell(world: World, text: str) -> str:
    world.person.instruct(text)
    said = wait(world)
    world.person.finish()
    return said


@pytest.mark.parametrize(
    ("text", "intent"),
    [
        ("Set the output voltage to 30.000 V.", Intent("voltage", 30.0)),
        ("set output voltage to 12.5 volts", Intent("voltage", 12.5)),
        ("Turn the current limit fully up.", Intent("limit", None)),
        ("Set the current limit to 2.500 A.", Intent("limit", 2.5)),
        ("Set the current limit to 500 mA.", Intent("limit", 0.5)),
        ("Switch the output on.", Intent("output", 1.0)),
        ("Switch the output off.", Intent("output", 0.0)),
        ("Switch the supply on at the line.", Intent("line", 1.0)),
        ("Switch the supply off at the line.", Intent("line", 0.0)),
        ("Make tea.", None),
        ("Set the output voltage.", None),
        ("", None),
    ],
)
def test_plain_english_is_understood(text: str, intent: Intent | None) -> None:
    assert understand(text) == intent


def test_trims_until_the_shown_reading_is_in_its_band() -> None:
    world = World(load("healthy"), 4)
    assert tell(world, "Switch the output on.") == "DONE"
    world.person.instruct("Set the output voltage to 30.000 V.")
    assert world.person.state()[0] == "BUSY"
    wait(world)
    for _ in range(10):
        value = world.voltage("sense")
        world.person.show(value, within=abs(value - 30.0) < 2e-3)
        wait(world)
    assert world.voltage("sense") == pytest.approx(30.0, abs=2e-3)


def test_takes_time() -> None:
    world = World(load("healthy"), 4)
    tell(world, "Switch the output on.")
    assert 2.0 < world.now < 12.0


def test_done_is_the_last_that_was_asked_for() -> None:
    """Who asked before (and died) got no answer; the next one does not get that answer."""
    world = World(load("healthy"), 4)
    world.person.instruct("Switch the output off.")
    world.person.finish()
    world.advance_to(world.now + 3.0)
    told_at = world.now
    assert tell(world, "Switch the output on.") == "DONE"
    assert world.now - told_at > 4.0  # the habit is 6 s ± 30 %
    assert world.controls.output_on


def test_sets_the_limit_within_a_hands_resolution() -> None:
    world = World(load("healthy"), 4)
    tell(world, "Switch the output on.")
    tell(world, "Set the output voltage to 10.000 V.")
    tell(world, "Set the current limit to 2.000 A.")
    world.set_load("voltage", 5.0, on=True)
    world.advance_to(world.now + 0.1)  # the output capacitor empties into the load first
    assert world.current() == pytest.approx(2.0, abs=0.12)


def test_does_not_understand_and_says_so() -> None:
    world = World(load("healthy"), 4)
    world.person.instruct("Reverse the polarity.")
    assert world.person.state()[0] == "CONFUSED"


def test_asks_instead_of_turning_on_when_the_reading_is_far_off() -> None:
    world = World(load("healthy"), 4)
    world.person.instruct("Set the output voltage to 30.000 V.")
    wait(world)
    for _ in range(2):  # these readings may have been taken before the hand had moved
        world.person.show(world.voltage("sense"), within=False)  # the output is still off
        assert world.person.state()[0] == "DONE"
    world.person.show(world.voltage("sense"), within=False)
    assert world.person.state()[0] == "CONFUSED"
    assert "far" in world.person.state()[1]


def test_an_unlucky_person_gets_it_wrong_and_repairs_it_when_shown(tmp_path: Path) -> None:
    path = tmp_path / "clumsy.toml"
    path.write_text(
        'name = "clumsy"\ndescription = "x"\nbased_on = "healthy"\n[person]\nmistake = "100 %"\n'
    )
    world = World(load(path), 4)
    assert tell(world, "Switch the output on.") == "DONE"
    assert not world.controls.output_on
    assert [event.kind for event in world.happened("mistake")] == ["mistake"]
    world.person.instruct("Set the output voltage to 20.000 V.")
    wait(world)
    assert world.controls.setting.nominal_v == pytest.approx(21.0)
    world.person.show(21.0, within=False)
    wait(world)
    assert world.controls.setting.nominal_v == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("text", "control", "value"),
    [
        ("Move the leads of the meter to the load terminals.", "leads", 2.0),
        ("Make sure that the leads of the meter are at the sense terminals.", "leads", 1.0),
        ("Connect resistor 1 (25 ohm) across the load's terminals.", "resistors", 25.0),
        ("Disconnect resistor 1 (25 ohm) from the load's terminals.", "resistors", -25.0),
        ("Disconnect the resistors from the load's terminals.", "resistors", 0.0),
    ],
)
def test_what_is_done_at_the_table_is_understood(text: str, control: str, value: float) -> None:
    assert understand(text) == Intent(control, value)  # type: ignore[arg-type]


def test_nobody_knows_where_else_to_put_leads() -> None:
    assert understand("Move the leads of the meter to the window.") is None
    assert understand("Connect the resistor.") is None


def test_a_hand_lifts_the_leads_and_puts_them_down() -> None:
    world = World(load("healthy"), 1)
    world.person.instruct("Switch the output on.")
    world.advance_to(60.0)
    volts = world.voltage("sense")
    assert world.voltage("leads") == volts
    world.person.instruct("Move the leads of the meter to the load terminals.")
    seen: list[float] = []
    for tenth in range(300):
        world.advance_to(60.0 + 0.1 * tenth)
        seen.append(world.voltage("leads"))
    assert 0.0 in seen
    assert seen[-1] == world.voltage("load")
    assert world.person.state()[0] == "DONE"
