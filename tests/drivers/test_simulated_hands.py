"""Scripted hands against a bench that says this or that, or nothing at all."""

from math import inf, isinf

import numpy as np
import pytest

from drivers.simulated.hands import Hands
from drivers.simulated.scenario import WHO, Act, HandsScript, StepScript
from drivers.simulated.world import World
from meterlink.circuit.engine import Engine, EngineCondition, EngineSwitch, EngineWinding
from meterlink.commands import CallOpen, Confirm, Enter, Skip
from meterlink.events import Asked, CardEnded, Held, Judged, StepBegan, StepEnded, Verdict
from meterlink.quantities.units import Ohms, Seconds
from meterlink.steps.worker import ON_METAL

ENGINE = Engine(
    name="portable pump set",
    primary=EngineWinding(ohms=Ohms(0.86)),
    secondary=EngineWinding(ohms=Ohms(5200.0)),
    switch=(EngineSwitch(name="stop switch", positions={"stop": "closed", "run": "open"}),),
)
APART = EngineCondition(controls={"stop wire": "off", "plug lead": "off"})
PRIMARY = ("primary terminal", "laminations")
AIR = ("air", "air")
HELD = Held(t=0, contact_t=0, value=1.0, readings=9, noise=0.0, resolution=0.0, u=0.0, dof=8.0)


def judged(step: str) -> Judged:
    return Judged(
        t=0.0,
        step=step,
        contact_t=0.0,
        value=1.0,
        verdict=Verdict.IN_WINDOW,
        probability=1.0,
        clear=True,
    )


class Stage:
    """Hands, their world and a time that the test lets pass in steps of 10 ms."""

    def __init__(self, seed: int = 1, **steps: StepScript) -> None:
        rng = np.random.default_rng(seed)
        self.world = World(ENGINE, APART, rng)
        named = {name.replace("_", "-"): script for name, script in steps.items()}
        self.hands = Hands(self.world, HandsScript(steps=named), rng)
        self.t = 0.0

    def begin(self, step: str) -> None:
        self.hands.notice(StepBegan(t=self.t, step=step))

    def ask(self, step: str, position: str = "") -> None:
        self.hands.notice(Asked(t=self.t, step=step, say="...", position=position))

    def end(self, step: str) -> None:
        self.hands.notice(StepEnded(t=self.t, step=step, outcome="done"))

    def wait(self, seconds: float) -> list[object]:
        """Let time pass; return what the hands said meanwhile."""
        until = self.t + seconds
        while self.t < until:
            self.t += 0.01
            self.hands.advance(self.t)
        return list(self.hands.take_said())

    def wait_for(self, touching: tuple[str, str], at_most: float) -> float:
        """Let time pass until the tips are there; return how long it took."""
        began = self.t
        while self.world.touching != touching:
            self.wait(0.01)
            assert self.t - began < at_most, self.world.touching
        return self.t - began

    def position(self) -> str:
        return self.world.condition.position("stop switch", ENGINE)


def test_hands_think_say_and_type() -> None:
    stage = Stage(cautions=StepScript(say="confirm"), ambient=StepScript(enter="14 °C"))
    stage.begin("cautions")
    assert stage.wait(0.3) == []
    (said,) = stage.wait(2.0)
    assert isinstance(said, Confirm)
    assert said.who == WHO
    stage.begin("ambient")
    (said,) = stage.wait(2.0)
    assert isinstance(said, Enter)
    assert said.text == "14 °C"


def test_hands_touch_wait_for_the_verdict_react_and_lift() -> None:
    stage = Stage(primary=StepScript(touch=PRIMARY))
    stage.begin("primary")
    assert 1.0 < stage.wait_for(PRIMARY, 3.0) < 2.5
    stage.wait(5.0)
    assert stage.world.touching == PRIMARY
    stage.hands.notice(HELD)
    stage.wait(1.0)
    assert stage.world.touching == PRIMARY  # the verdict is what they wait for
    stage.hands.notice(judged("primary"))
    assert 0.2 < stage.wait_for(AIR, 1.0) < 0.6
    stage.end("primary")
    assert stage.wait(60.0) == []
    assert stage.world.touching == AIR


def test_hands_go_from_place_to_place_through_the_air() -> None:
    stage = Stage(
        primary=StepScript(touch=PRIMARY), secondary=StepScript(touch=("plug lead", "laminations"))
    )
    stage.begin("primary")
    stage.wait_for(PRIMARY, 3.0)
    stage.begin("secondary")
    stage.wait_for(AIR, 2.0)
    stage.wait_for(("plug lead", "laminations"), 2.0)


@pytest.mark.parametrize("seed", range(5))
def test_hands_put_the_switch_wherever_it_is_asked_and_stay_on(seed: int) -> None:
    stage = Stage(seed, stop_switch=StepScript(touch=("stop wire", "block"), switch="stop switch"))
    stage.begin("stop-switch")
    stage.ask("stop-switch", "stop")
    stage.wait_for(("stop wire", "block"), 4.0)
    for position in ("run", "stop", "run", "stop"):
        stage.wait(2.0)
        stage.ask("stop-switch", position)
        assert stage.wait(1.0) == []
        assert stage.position() == position
        assert stage.world.touching == ("stop wire", "block")
    stage.ask("stop-switch")  # lift the probes
    stage.wait_for(AIR, 2.0)


def test_hands_that_are_asked_whether_the_switch_is_really_there_say_yes() -> None:
    stage = Stage(stop_switch=StepScript(touch=("stop wire", "block"), switch="stop switch"))
    stage.begin("stop-switch")
    stage.ask("stop-switch", "stop")
    stage.wait(4.0)
    stage.ask("stop-switch", "run")
    assert stage.wait(3.0) == []
    stage.ask("stop-switch", "run")
    said = stage.wait(3.0)
    assert [type(one) for one in said] == [Confirm]


def test_hands_call_it_open_where_they_touch_and_nothing_is_read_for_long() -> None:
    stage = Stage(stop_switch=StepScript(touch=("stop wire", "block"), switch="stop switch"))
    stage.begin("stop-switch")
    stage.ask("stop-switch", "stop")
    said = stage.wait(20.0)
    assert [type(one) for one in said] == [CallOpen, Enter]
    assert said[-1].text == ON_METAL


def test_hands_try_again_and_at_last_skip_and_say_why() -> None:
    stage = Stage(primary=StepScript(touch=PRIMARY))
    stage.begin("primary")
    touches, before, said = 0, AIR, []
    for _ in range(12_000):
        said += stage.wait(0.01)
        touches += stage.world.touching == PRIMARY and before == AIR
        before = stage.world.touching
    assert touches == 3
    (skip,) = said
    assert isinstance(skip, Skip)
    assert skip.reason == "the scripted hands tried 3 times"


def test_hands_skip_a_step_that_they_know_nothing_of() -> None:
    stage = Stage(primary=StepScript(touch=PRIMARY))
    stage.begin("torque")
    (skip,) = stage.wait(60.0)
    assert isinstance(skip, Skip)
    assert "know nothing" in skip.reason


def test_taps_are_short_and_apart() -> None:
    touch = Act(touch=PRIMARY, lasting=Seconds(2.0))
    stage = Stage(x=StepScript(do=(Act(tap=2), touch, Act(lift=Seconds(1.0)))))
    stage.begin("x")
    tips = ("other tip", "other tip")
    for _ in range(2):
        stage.wait_for(tips, 4.0)
        stage.wait(0.4)
        stage.hands.notice(HELD)
        assert stage.wait_for(AIR, 1.0) < 0.4
    stage.wait_for(PRIMARY, 3.0)
    assert 1.8 < stage.wait_for(AIR, 4.0) < 3.5


def test_hands_press_their_fingers_on_and_let_go() -> None:
    script = StepScript(
        do=(Act(fingers=Ohms(5e5)), Act(wait=Seconds(1.0)), Act(let_go=True), Act(say="confirm"))
    )
    stage = Stage(x=script)
    stage.begin("x")
    stage.wait(1.4)
    assert stage.world.look(stage.t).two_wire == pytest.approx(5e5, rel=0.1)
    stage.wait(1.5)
    assert isinf(stage.world.look(stage.t).two_wire)


def test_hands_flex_and_warm() -> None:
    script = StepScript(do=(Act(flex=Seconds(5.0)), Act(warm=90.0, within=Seconds(10.0))))  # type: ignore[arg-type]
    stage = Stage(x=script)
    stage.begin("x")
    stage.wait(2.0)
    assert not stage.world.quiet(stage.t)
    stage.wait(40.0)
    assert stage.world.winding_c(stage.t) == pytest.approx(90.0, abs=2.0)


def test_a_person_takes_over_and_the_script_is_left_alone() -> None:
    stage = Stage(primary=StepScript(touch=PRIMARY))
    stage.begin("primary")
    stage.hands.place("plug lead", "laminations")
    stage.hands.switch("stop switch", "run")
    stage.wait(30.0)
    assert stage.world.touching == ("plug lead", "laminations")
    assert stage.position() == "run"
    stage.hands.grip(4e5)
    stage.hands.flex(2.0)
    stage.hands.lift()
    stage.wait(0.1)
    assert stage.world.touching == AIR
    assert stage.world.look(stage.t).two_wire < 5e5
    stage.hands.grip()
    assert stage.hands.advance(stage.t) == inf


def test_a_person_s_slip_of_the_tongue_is_said_at_once() -> None:
    stage = Stage()
    with pytest.raises(ValueError, match="there is no place “tab”"):
        stage.hands.place("tab", "block")
    with pytest.raises(ValueError, match="it has stop, run"):
        stage.hands.switch("stop switch", "up")


def test_the_end_of_the_card_lifts_the_tips() -> None:
    stage = Stage(primary=StepScript(touch=PRIMARY))
    stage.begin("primary")
    stage.wait_for(PRIMARY, 3.0)
    stage.hands.notice(CardEnded(t=stage.t, card="x"))
    stage.wait_for(AIR, 0.2)
    assert stage.wait(60.0) == []


def test_a_step_left_to_a_person_is_left_to_them() -> None:
    stage = Stage(cautions=StepScript(say="confirm"), primary=StepScript(touch=PRIMARY))
    stage.hands.leave("cautions")
    stage.begin("cautions")
    assert stage.wait(120.0) == []
    stage.begin("primary")
    stage.wait_for(PRIMARY, 3.0)


def test_hands_take_their_time_even_when_the_clock_started_long_ago() -> None:
    stage = Stage(cautions=StepScript(say="confirm"))
    stage.t = 500.0
    stage.begin("cautions")
    assert stage.wait(0.3) == []
    assert len(stage.wait(2.0)) == 1


def test_no_wait_of_the_hands_goes_on_while_nobody_looks() -> None:
    stage = Stage(stop_switch=StepScript(touch=("stop wire", "block"), switch="stop switch"))
    stage.wait(0.1)
    stage.t += 60.0  # the card was done; somebody takes its last step back after a minute
    stage.begin("stop-switch")
    stage.ask("stop-switch", "stop")
    assert stage.wait(8.0) == []
    assert stage.world.touching == ("stop wire", "block")
