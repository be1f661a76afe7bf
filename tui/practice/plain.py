"""Practice by typed lines: a prompt, what was typed, and what came of it."""

from collections.abc import Callable, Iterable, Sequence

from meterlink.card import BenchEvent
from meterlink.circuit.wiring import AIR, places
from meterlink.commands import AnyCommand, CallOpen, Confirm, Deny, Enter, How
from meterlink.errors import UsageError
from meterlink.events import Held, Judged, StepEnded
from meterlink.finding.shape import UNSAID
from meterlink.quantities.notation import format_value, parse_quantity
from meterlink.quantities.text import plain
from meterlink.steps.entry import STANDING
from meterlink.steps.worker import ON_METAL
from meterlink.training.ledger import Concluded, Safety
from meterlink.training.practice import Practice
from tui.announcing.signs import say
from tui.practice.bench import PracticeBench
from tui.practice.results import Diary
from tui.practice.words import (
    ASKED,
    COMMANDS,
    PracticeTeller,
    check_lines,
    control_lines,
    fault_lines,
    help_lines,
    look_lines,
    pick,
    pick_named,
)

Ask = Callable[[str], str | None]
"""Shows a prompt and returns the line typed; None at the end of all lines."""


class PlainPractice:
    """One practice played by typed lines, from the first look to the end."""

    def __init__(
        self,
        practice: Practice,
        bench: PracticeBench,
        write: Callable[[str], None] = say,
        diary: Diary | None = None,
    ) -> None:
        self.practice = practice
        self.bench = bench
        self._write = write
        self._teller = PracticeTeller(practice, write)
        self._doing: str | None = None
        """The check that is made with the probes now."""
        self._over = False
        self.later = False
        """Whether it was left to be gone on with another time."""
        self._diary = diary
        self._told = ""
        """Why nothing could be written, when that was last said."""
        self._does: dict[str, Callable[[str], None]] = {
            word.split()[0]: getattr(self, f"_{word.split()[0]}") for word in COMMANDS
        }
        self._does["help"] = self._help

    def begin(self) -> None:
        """Begin the card, and say what came in."""
        self.bench.start()
        case = self.practice.case
        complaint = case.model.table.complaints[case.model.complaint]
        switches = ", ".join(switch.name for switch in self.practice.engine.switch)
        self._write(f"A portable pump set was brought in: {complaint}.")
        self._write(f"Its stop circuit has: {switches}. Everything lies as it came.")
        if case.range is not None:
            left = format_value(case.range, "ohm")
            self._write(f"Somebody left the meter fixed on its {left} range.")
        self._write("Find the faulty part, as safely and with as few checks as you can.")

    def play(self, ask: Ask) -> None:
        """Take lines until the engine is given back, the trainee leaves, or no line is left."""
        self.begin()
        self._write(ASKED)
        self.go_on(ask)

    def again(self, lines: Iterable[str]) -> None:
        """Begin, and type ``lines`` once more: those of a practice that was interrupted."""
        self.begin()
        for line in lines:
            if not self._over:
                self._write(f"{self.prompt()}{plain(line)}")
                self.take(line)
        self._write("Here you left off. Go on.")

    def go_on(self, ask: Ask) -> None:
        """Take lines until there is nothing more to be done, or no line is left."""
        while not self._over:
            line = ask(self.prompt())
            if line is None:
                return
            self.take(line)

    def prompt(self) -> str:
        """Return what stands before the line to be typed."""
        at = "" if self._doing is None else f", {self.practice.say(self._doing)}"
        return f"[{self.practice.ledger.minutes:.0f} min{at}] > "

    @property
    def over(self) -> bool:
        """Whether there is nothing more to be done."""
        return self._over

    def take(self, line: str) -> None:
        """Do what a line says; what makes no sense is said, and changes nothing."""
        word, _, rest = line.strip().partition(" ")
        if not word or word.startswith("#"):
            return
        try:
            self._does[pick(word, list(self._does), "command")](rest.strip())
        except UsageError as fault:
            self._write(f"  {_first(str(fault))}.")
        if not self.later:
            self._keep(line)

    def _keep(self, line: str) -> None:
        """Keep the line where that is wanted; where it cannot be written, say so once."""
        if self._diary is None:
            return
        self._diary.typed(self.practice, line)
        trouble, self._told = self._told, self._diary.trouble
        if self._told and not trouble:
            self._write(f"  {_first(self._told)}.")

    # --- looking ------------------------------------------------------------------------------

    def _help(self, _rest: str) -> None:
        self._lines(help_lines())

    def _look(self, _rest: str) -> None:
        self._lines(look_lines(self.practice, self.bench.shown))

    def _checks(self, _rest: str) -> None:
        self._lines(check_lines(self.practice))

    def _controls(self, _rest: str) -> None:
        self._lines(control_lines(self.practice))

    def _faults(self, _rest: str) -> None:
        self._lines(fault_lines(self.practice))

    def _places(self, _rest: str) -> None:
        known = places(self.practice.engine).values()
        self._lines(f"  {n:>2}  {place.name}: {place.about}" for n, place in enumerate(known, 1))

    # --- making safe and opening up -----------------------------------------------------------

    def _cautions(self, _rest: str) -> None:
        self._lines(f"  {line}" for line in STANDING)
        self.practice.secure(Safety.CAUTIONS)
        self.bench.acknowledge()
        self._write("  Read, and met.")

    def _safe(self, _rest: str) -> None:
        self.practice.secure(Safety.MADE_SAFE)
        self.bench.put("plug lead", self.practice.condition.controls["plug lead"])
        self._write("  Ignition off; the plug lead is off the plug, and earthed to the block.")

    def _air(self, _rest: str) -> None:
        self.practice.secure(Safety.AIRED)
        self._write("  The plug hole is closed, the fuel is off, and the place is aired.")

    def _strip(self, _rest: str) -> None:
        self._open("strip")

    def _flywheel(self, _rest: str) -> None:
        self._open("flywheel-off")

    def _open(self, setup: str) -> None:
        self.practice.open_up(setup)
        self._write(f"  {_first(self.practice.case.model.table.setups[setup].say)}.")

    def _set(self, rest: str) -> None:
        control, position = self._control(rest)
        self.practice.put(control, position)
        self._write(f"  {_first(control)}: “{position}”.")
        self._tell(self.bench.put(control, position))

    def _control(self, rest: str) -> tuple[str, str]:
        """Take “stop wire off” apart: a control is as many of the first words as name one."""
        known = self.practice.controls
        words = rest.split()
        for at in range(len(words) - 1, 0, -1):
            try:
                control = pick(" ".join(words[:at]), list(known), "control")
            except UsageError:
                if at == 1:
                    raise
                continue
            return control, pick(" ".join(words[at:]), known[control], "position")
        raise UsageError("say which control and its position, such as “set stop wire off”")

    # --- checks -------------------------------------------------------------------------------

    def _check(self, rest: str) -> None:
        checks = {check: self.practice.say(check) for check in self.practice.checks}
        check = pick_named(rest, checks, "check")
        if self._doing is not None:
            self._leave("")
        opened = self.practice.begin(check)
        self._lines(f"  First: {setup}." for setup in opened)
        caution = self.practice.case.model.nodes[check].declared.caution
        if caution:
            self._write(f"  Caution: {caution}")
        steps = self.practice.steps_of(check)
        if steps:
            self._doing = check
            self._step(steps[0])
            return
        if self.practice.turns_over(check):
            self._tips_off()
        if self.practice.case.tells_places:
            self._write(f"  > {self.practice.case.model.nodes[check].ask}")
        outcome = self.practice.answer(check)
        if self.practice.turns_over(check):
            # No more than was seen: whether the wire was off, as the clause has it, is not known.
            self._write(f"  {_first(self.practice.say(check))}: {outcome}.")
        elif outcome in UNSAID:
            self._write("  The engine does not run, so there is nothing to be stopped.")
        else:
            self._write(f"  {_first(self.practice.case.model.nodes[check].said(outcome))}.")
        self.bench.flawed += self.practice.ledger.all(Concluded)[-1].flaws
        self._coach()

    def _step(self, step: str) -> None:
        self._tips_off()
        self._tell(self.bench.begin(step))

    def _tips_off(self) -> None:
        """Take the tips off, and say so where they were on something."""
        if self.bench.touching != (AIR, AIR):
            self.bench.lift()
            self._write("  The tips are off.")

    def _leave(self, _rest: str) -> None:
        if self._doing is not None:
            self.practice.leave(self._doing)
        self._doing = None
        self.bench.free()
        self._write("  The check is left; the tips are off.")

    # --- probes and meter ---------------------------------------------------------------------

    def _probes(self, rest: str) -> None:
        known = list(places(self.practice.engine))
        one, comma, other = (part.strip() for part in rest.partition(","))
        if not comma:
            raise UsageError(
                "name two places with a comma between, such as “probes stop wire, block”"
            )
        red, black = pick(one, known, "place"), pick(other, known, "place")
        events = self.bench.place(red, black)
        self._write(f"  Red on {red}, black on {black}.")
        self._tell(events)
        if not any(isinstance(event, Held | Judged) for event in events):
            self._write(f"  Nothing is held; the meter shows {self.bench.shown}.")
            if self._doing is not None and self.practice.case.tells_places:
                self._write("  Where the tips do touch, and it is over range, say so: “on”.")

    def _lift(self, _rest: str) -> None:
        if not self._tell(self.bench.lift()):
            self._write("  The tips are off.")

    def _tips(self, _rest: str) -> None:
        self._tell(self.bench.take_zero())
        if not self.bench.zeroed:
            self._write(f"  No lead zero was taken; the meter shows {self.bench.shown}.")

    def _on(self, rest: str) -> None:
        command: AnyCommand = Confirm(how=How.TYPED)
        if f"on {rest}".lower() == ON_METAL:
            command = Enter(text=ON_METAL, how=How.TYPED)
        elif self.bench.bench.can_call_open:
            command = CallOpen(how=How.TYPED)
        if not self._tell(self.bench.tell(command)):
            self._write("  Nothing waits for that at the moment.")

    def _no(self, _rest: str) -> None:
        if not self._tell(self.bench.tell(Deny(how=How.TYPED))):
            self._write("  Nothing was asked.")

    def _fingers(self, rest: str) -> None:
        on = pick(rest, ("on", "off"), "way") == "on"
        self._tell(self.bench.grip(on))
        self._write(f"  Fingers {'on' if on else 'off'} the tips; {self.bench.shown}.")

    def _flex(self, _rest: str) -> None:
        self._write("  You move the stop wire, every bend of it.")
        self._tell(self.bench.flex())

    def _warm(self, _rest: str) -> None:
        self._write("  The winding warms up, away from fuel.")
        self._tell(self.bench.warm())

    def _wait(self, _rest: str) -> None:
        self._tell(self.bench.wait(10.0))
        self._write(f"  The meter shows {self.bench.shown}.")

    def _range(self, rest: str) -> None:
        if rest.lower() == "auto":
            self._tell(self.bench.turn_range(None))
            self._write("  The meter chooses its range.")
            return
        value = parse_quantity(rest, default_unit="ohm")
        fits = [full for full in self.bench.scale if full >= value.value]
        if value.unit != "ohm" or value.overload or not fits:
            named = ", ".join(format_value(full, "ohm") for full in self.bench.scale)
            raise UsageError(f"the meter has no such range; it has {named}")
        self._tell(self.bench.turn_range(fits[0]))
        self._write(f"  The meter is fixed on {format_value(fits[0], 'ohm')}.")

    # --- deciding -----------------------------------------------------------------------------

    def _hint(self, _rest: str) -> None:
        check = self.practice.hint()
        if check is None:
            self._write("  No check that is left would tell much more.")
        else:
            self._write(f"  Next best: {self.practice.case.model.nodes[check].ask}")

    def _renew(self, rest: str) -> None:
        place = pick(rest, self.practice.places, "place")
        self.practice.renew(place)
        self._refit()
        self._write(f"  Put right: {place}. Whether it helped, a check has to show.")
        self._coach()

    def _name(self, rest: str) -> None:
        typed, _, said = rest.partition(":")
        place, said = pick(typed, self.practice.places, "place"), said.strip()
        faults = self.practice.faults_at(place)
        fault = pick_named(said, faults, "fault") if said else ""
        self.practice.name(place, fault)
        self._refit()
        self._write(f"  You name {': '.join([place, *([faults[fault]] if fault else [])])}.")
        self._write(
            "  It is put right. Put it all together, stop wire and plug lead too, and prove it: "
            "does it start, and stop?"
        )
        self._coach()

    def _refit(self) -> None:
        if self._doing is not None:
            self._leave("")
        self.bench.refit()

    def _done(self, _rest: str) -> None:
        self.practice.sign_off()
        self._over = True

    def _later(self, _rest: str) -> None:
        if self._diary is None:
            raise UsageError("without --trainee nothing is kept to go on with; “quit” gives up")
        self.later = self._over = True

    def _quit(self, _rest: str) -> None:
        self._over = True

    # --- telling ------------------------------------------------------------------------------

    def _tell(self, events: Sequence[BenchEvent]) -> bool:
        """Say what happened; where it ended a step, go on to the next of the check.

        Returns whether there was anything to say.
        """
        told = self._teller.tell(events)
        self._coach()
        for event in [event for event in events if isinstance(event, StepEnded)]:
            if event.step in self.practice.steps and event.outcome != "skipped":
                self._conclude(event)
        return told

    def _coach(self) -> None:
        flawed, self.bench.flawed = self.bench.flawed, []
        self._teller.coach(flawed)

    def _conclude(self, event: StepEnded) -> None:
        following = self.practice.ended(event.step, event.outcome)
        if following is not None:
            self._step(following)
            return
        self._doing = None
        self._tips_off()
        self.bench.free()

    def _lines(self, lines: Iterable[str]) -> None:
        for line in lines:
            self._write(line)


def _first(words: str) -> str:
    return words[:1].upper() + words[1:]
