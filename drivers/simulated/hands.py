"""A pair of hands on the virtual bench: scripted, or moved by a person.

Scripted hands know what to do at each step of a card, and otherwise only what a technician would:
they hear what the bench says (``notice``), react, put the tips on, wait for the hold, lift. Where
the bench says nothing for too long they try again, and at last skip the step and say why.

A person moves the same hands with ``place``, ``lift``, ``switch`` and ``grip``; from the first such
move the script is left alone.

Hands live in the time of the meter: all that is told to them happens at the moment of the last
look, and what follows from it happens after. Any thread may call anything here.
"""

import threading
from collections import deque
from collections.abc import Callable, Collection
from math import inf
from typing import Final

import numpy as np

from drivers.simulated.scenario import (
    SAYS,
    WHO,
    Act,
    Acting,
    Await,
    HandsScript,
    StepScript,
    TipPlaces,
    Tips,
    Wait,
    asked_or_ended,
    ended,
    held,
    skipping,
    until,
)
from drivers.simulated.world import World
from meterlink.card import BenchEvent
from meterlink.circuit.engine import Engine, controls
from meterlink.circuit.wiring import AIR, OTHER_TIP
from meterlink.commands import (
    AnyCommand,
    CallOpen,
    Confirm,
    Enter,
    How,
)
from meterlink.events import Asked, CardEnded, Judged, StepBegan
from meterlink.steps.measurement import WAITS
from meterlink.steps.worker import ON_METAL

_HEARD: Final = 64
_MOST_MOVES: Final = 40
_MOST_TOUCHES: Final = 6
_BETWEEN_TAPS_S: Final = 0.5
_TAP_S: Final = 1.25
"""A tap is given up after so long without a hold: longer, and it would be a measurement."""
_NOTICE_TAP_S: Final = 0.1
_AIR_S: Final = 2.0
_TOUCH_S: Final = 4.0
"""Alone, the tips are off for so long, and on for so long."""
_NOBODY_LOOKS_S: Final = 5.0
"""Longer than any reading takes: nobody looked meanwhile, and no wait of the hands went on."""


class Hands:
    """Two hands with a probe each, in a world."""

    def __init__(self, world: World, script: HandsScript, rng: np.random.Generator) -> None:
        self._world = world
        self._script = script
        self._rng = rng
        self._lock = threading.RLock()
        self._t = -inf
        """Time of the last look; the first one may come at any time."""
        self._heard: deque[BenchEvent] = deque(maxlen=_HEARD)
        self._said: deque[AnyCommand] = deque(maxlen=_HEARD)
        self._moves: deque[Callable[[float], None]] = deque()
        self._acting: Acting | None = None
        self._wait: Wait = inf
        self._since = 0.0
        self._asked: Asked | None = None
        self._answered: Asked | None = None
        self._wanting = False
        """Whether the newest verdict waits for another touch that agrees."""
        self._worked = False
        """Whether the switch was moved since the step began."""
        self._by_person = False
        self._left: frozenset[str] = frozenset()
        self._alone = False
        """Whether no bench says what it asks."""

    @property
    def steps(self) -> Collection[str]:
        """The steps that the script knows what to do at."""
        return self._script.steps.keys()

    # --- for the loop that runs the bench ----------------------------------------------------

    def notice(self, event: BenchEvent) -> None:
        """See and hear what the bench says."""
        with self._lock:
            self._heard.append(event)

    def take_said(self) -> list[AnyCommand]:
        """Return what the hands have said since the last call, oldest first."""
        with self._lock:
            said = list(self._said)
            self._said.clear()
            return said

    def play_alone(self) -> None:
        """Play the steps in turn, over and over, for a reader that asks for nothing.

        They begin when somebody first looks, and afresh for each new reader.
        """
        with self._lock:
            self._forget(alone=True)
            self._moves.append(lambda _: self._begin(self._in_turn()))

    def serve(self, *left: str) -> None:
        """Listen to a bench from now on, and leave these steps to a person."""
        with self._lock:
            self._forget(alone=False)
            self._left = frozenset(left)
            self._moves.append(lambda _: self._begin(self._leave()))

    def _forget(self, *, alone: bool) -> None:
        self._alone = alone
        self._heard.clear()
        self._said.clear()
        self._asked = self._answered = None

    # --- for a person ------------------------------------------------------------------------

    def leave(self, *steps: str) -> None:
        """Leave these steps to a person: the scripted hands keep off, however long it takes."""
        with self._lock:
            self._left = frozenset(steps)

    def take(self) -> None:
        """Give the hands to a person: the script does nothing more, and lets go."""
        self._by_hand(lambda _: self._world.lift())

    def place(self, red: str, black: str) -> None:
        """Put each tip on a place by name.

        Raises:
            ValueError: the engine has no such place.
        """
        for name in (red, black):
            if name not in self._world.places:
                known = ", ".join(self._world.places)
                raise ValueError(f"there is no place “{name}”; there is {known}")
        self._by_hand(lambda t: self._land(t, red, black))

    def lift(self) -> None:
        """Take both tips off."""
        self._by_hand(lambda _: self._world.lift())

    def switch(self, control: str, position: str) -> None:
        """Put a switch or fitting into a position.

        Raises:
            ValueError: there is no such control or position.
        """
        self._world.condition.move(control, position, self._world.engine)
        self._by_hand(lambda t: self._world.move(t, control, position))

    def grip(self, fingers: float = inf) -> None:
        """Hold both tips by the metal, with so many ohms of body; nothing given lets go."""
        self._by_hand(lambda _: self._world.grip(fingers))

    def flex(self, seconds: float) -> None:
        """Move the stop wire about."""
        self._by_hand(lambda t: self._world.flex(t, seconds))

    def warm(self, celsius: float, time_constant_s: float) -> None:
        """Let the windings go towards a temperature."""
        self._by_hand(lambda t: self._world.warm(t, celsius, time_constant_s))

    def refit(self, engine: Engine) -> None:
        """Renew a part, with the tips off: ``engine`` lies on the bench from now on."""
        self._by_hand(lambda _: self._world.lift())
        self._by_hand(lambda _: self._world.refit(engine))

    def _by_hand(self, move: Callable[[float], None]) -> None:
        with self._lock:
            self._by_person = True
            self._moves.append(move)

    # --- for the meter -----------------------------------------------------------------------

    def advance(self, t: float) -> float:
        """Do all that is to be done until ``t``; return when something is to be done next."""
        with self._lock:
            if self._t == -inf:
                self._t = t
            self._sleep_through(t)
            while self._moves:
                self._moves.popleft()(self._t)
            if self._by_person:
                self._heard.clear()
                self._t = t
                return inf
            self._hear()
            self._run(t)
            self._t = max(self._t, t)
            return self._since + self._wait_s()

    def _sleep_through(self, t: float) -> None:
        """Take up at ``t`` what was left when the last reader went away; alone, begin again."""
        gap = t - self._t
        if gap <= _NOBODY_LOOKS_S:
            return
        self._t = t
        self._since += gap
        if self._alone:
            self._begin(self._in_turn())

    def _wait_s(self) -> float:
        return self._wait.limit if isinstance(self._wait, Await) else self._wait

    def _hear(self) -> None:
        while self._heard:
            event = self._heard.popleft()
            if isinstance(event, Asked):
                self._asked = event
            if isinstance(event, Judged):
                self._wanting = event.repeat in WAITS
            match event:
                case StepBegan(step=step):
                    self._begin(self._leave() if step in self._left else self._step(step))
                case CardEnded():
                    self._begin(self._leave())
                case _ if isinstance(self._wait, Await) and self._wait.wanted(event):
                    self._resume(True)
                case _:
                    pass

    def _begin(self, acting: Acting) -> None:
        self._acting = acting
        self._since = self._t
        self._wait = next(acting, inf)

    def _resume(self, came: bool) -> None:
        if self._acting is None:
            return
        self._since = self._t
        try:
            self._wait = self._acting.send(came)
        except StopIteration:
            self._acting, self._wait = None, inf

    def _run(self, t: float) -> None:
        while self._since + self._wait_s() <= t:
            self._t = self._since + self._wait_s()
            self._resume(False)

    # --- what the hands do, told as they do it -------------------------------------------------

    def _step(self, step: str) -> Acting:
        script = self._script.steps.get(step)
        end = Await(ended(step), self._script.patience)
        if script is None:
            yield from self._leave()
            if not (yield Await(ended(step), 2 * self._script.patience)):
                self._say(skipping("the scripted hands know nothing to do here"))
            return
        tries = touches = 0
        while tries < self._script.tries and touches < _MOST_TOUCHES:
            self._worked = self._wanting = False
            yield self._jitter(self._script.think)
            for act in script.acts():
                yield from self._act(act, step, script)
            touches += 1
            if self._wanting:
                continue  # the same once more, at once
            if (yield end):
                return
            tries += 1
        self._say(skipping(f"the scripted hands tried {self._script.tries} times"))

    def _in_turn(self) -> Acting:
        """Do what each step wants, each touch for as long as a hold takes, and begin again."""
        yield from self._leave()
        while True:
            yield _AIR_S
            for script in self._script.steps.values():
                for act in script.acts():
                    yield from self._act_alone(act, script)

    def _act_alone(self, act: Act, script: StepScript) -> Acting:
        self._do_at_once(act)
        if act.wait is not None:
            yield float(act.wait)
        if act.touch is None:
            return
        self._land(self._t, *((OTHER_TIP, OTHER_TIP) if act.touch == "tips" else act.touch))
        yield float(act.lasting or _TOUCH_S)
        for position in controls(self._world.engine).get(script.switch, ()):
            self._world.move(self._t, script.switch, position)
            yield _TOUCH_S
        yield from self._leave()
        yield _AIR_S

    def _act(self, act: Act, step: str, script: StepScript) -> Acting:
        """Do one thing, and take the time for it."""
        self._do_at_once(act)
        if act.wait is not None:
            yield float(act.wait)
        if act.touch is not None:
            yield from self._touch(act, act.touch, step, script)
        if act.tap is not None:
            yield from self._tap(act.tap)
        if act.lift is not None:
            yield from self._leave()
            yield self._jitter(act.lift)

    def _do_at_once(self, act: Act) -> None:
        """Do what takes no time, or goes on by itself."""
        for control, position in (act.move or {}).items():
            self._world.move(self._t, control, position)
        if act.fingers is not None:
            self._world.grip(float(act.fingers))
        if act.let_go:
            self._world.grip(inf)
        if act.flex is not None:
            self._world.flex(self._t, act.flex)
        if act.warm is not None:
            self._world.warm(self._t, act.warm, act.within)
        if act.say is not None:
            self._say(SAYS[act.say](how=How.KEY, who=WHO))
        if act.enter is not None:
            self._say(Enter(text=act.enter, how=How.TYPED, who=WHO))

    def _touch(self, act: Act, where: TipPlaces | Tips, step: str, script: StepScript) -> Acting:
        red, black = (OTHER_TIP, OTHER_TIP) if where == "tips" else where
        if self._world.touching != (red, black):
            yield from self._leave()
            yield self._jitter(self._script.travel)
            self._land(self._t, red, black)
        if act.lasting is not None:
            yield float(act.lasting)
        elif script.switch and act.until == "ended":
            yield from self._work_switch(step, script.switch)
        else:
            yield Await(until(act, step), self._script.patience)
        yield self._jitter(self._script.notice)

    def _work_switch(self, step: str, switch: str) -> Acting:
        """Stay on, and put the switch wherever the bench asks, until it asks for nothing more."""
        for _ in range(_MOST_MOVES):
            asked = self._asked
            if asked is None or asked.step != step or not asked.position:
                return
            here = self._world.condition.position(switch, self._world.engine)
            if here == asked.position and self._answered is asked:
                return  # said once already, and nothing came of it
            yield self._jitter(self._script.notice)
            if here == asked.position and self._worked:
                self._say(Confirm(how=How.KEY, who=WHO))  # “is it really there?” It is.
            else:
                self._world.move(self._t, switch, asked.position)
            self._worked, self._answered = True, asked
            if self._asked is asked and not (yield Await(asked_or_ended, self._script.patience)):
                self._call_open()  # the tips are on, and it reads nothing

    def _call_open(self) -> None:
        self._say(CallOpen(how=How.KEY, who=WHO))
        self._say(Enter(text=ON_METAL, how=How.TYPED, who=WHO))

    def _tap(self, times: int) -> Acting:
        for _ in range(times):
            yield from self._leave()
            yield self._jitter(_BETWEEN_TAPS_S)
            self._land(self._t, OTHER_TIP, OTHER_TIP)
            yield Await(held, _TAP_S)
            yield _NOTICE_TAP_S
            self._world.lift()

    def _leave(self) -> Acting:
        self._world.lift()
        yield 0.0

    def _land(self, t: float, red: str, black: str) -> None:
        if AIR in (red, black) and red == black:
            self._world.lift()
        else:
            self._world.land(t, red, black, later=self._rng.uniform(0.03, 0.25))

    def _say(self, command: AnyCommand) -> None:
        self._said.append(command)

    def _jitter(self, seconds: float) -> float:
        """Return about ``seconds``: no hand does a thing twice in the same time."""
        return float(seconds * self._rng.uniform(0.8, 1.25))
