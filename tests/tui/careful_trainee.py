"""A trainee who does every check with care: what such a one types, line by line."""

from collections.abc import Iterator

from meterlink.circuit.spark import at_run
from meterlink.circuit.wiring import places
from meterlink.finding.search import follow, once
from meterlink.steps.worker import ON_METAL
from meterlink.training.practice import Practice
from tui.practice.bench import PracticeBench
from tui.practice.plain import PlainPractice


class CarefulTrainee:
    """Types at a practice, looks at what it answers, and keeps all that was shown."""

    def __init__(self, practice: Practice, bench: PracticeBench) -> None:
        self.practice = practice
        self.shown: list[str] = []
        self._face = PlainPractice(practice, bench, self.shown.append)
        self._bench = bench
        self._face.begin()

    def type(self, *lines: str) -> None:
        """Type these lines."""
        for line in lines:
            self.shown.append(f"{self._face.prompt()}{line}")
            self._face.take(line)

    def make_safe(self) -> None:
        """Do every safety step there is, take the lead zero, and let the meter range itself."""
        self.type("cautions", "safe", "air", "range auto", "tips")

    def check(self, check: str) -> str:
        """Do ``check`` with care; return the outcome that was shown."""
        self.type(*self._beforehand(check), f"check {check}")
        for step in self.practice.steps_of(check):
            if self._bench.step != step:
                break
            self._probe(step)
        return self.practice.ledger.outcomes[check]

    def follow_the_advice(self) -> None:
        """Do the best next checks to their end, and name the place that they lead to."""
        walk = follow(self.practice.case.model, self.check, once)
        fits = walk.fault in self.practice.faults_at(walk.place)
        self.type(f"name {walk.place}: {walk.fault}" if fits else f"name {walk.place}")

    def give_back(self) -> None:
        """Put it together, see that it starts and stops, and give it back."""
        self.type(*self._joined(), "check start", "check stop-check", "done")

    def _beforehand(self, check: str) -> Iterator[str]:
        """Yield what puts wire, connectors and switches where the check wants them."""
        steps = self.practice.steps_of(check)
        wanted = self.practice.steps[steps[-1]].controls if steps else self.practice.wanted(check)
        for control, position in wanted.items():
            yield f"set {control} {position}"

    def _joined(self) -> Iterator[str]:
        yield "set clip lead off"
        yield "set plug lead on"
        yield "set cap on"
        yield "set stop wire on"
        for switch in self.practice.engine.switch:
            yield f"set {switch.name} connector on"
        for control, position in at_run(self.practice.engine).items():
            yield f"set {control} {position}"

    def _probe(self, step: str) -> None:
        """Put the probes where the step's card has them, and see it through to its end."""
        probing = self.practice.steps[step]
        red, black = self._between(step)
        if probing.switch:
            self.type(f"set {probing.switch} {self._bench.bench.asked.position}")
        self.type(f"probes {red}, {black}")
        if probing.wants_warming:
            self.type("warm")
        while self._bench.step == step and probing.switch:
            asked = self._bench.bench.asked
            stands = self.practice.condition.position(probing.switch, self.practice.engine)
            if asked.say.startswith("Lift"):
                self.type("lift")
            elif asked.position != stands:
                self.type(f"set {probing.switch} {asked.position}")
            else:
                self.type("wait")
                self._on()
        if probing.wants_moving and self._bench.step == step:
            if "Confirm" in self._bench.bench.asked.say or self._bench.reading.overload:
                self._on()
            self.type(*(["flex"] if self._bench.step == step else []))
        if self._bench.step == step and probing.wants_warming:
            # Open from the start: there is nothing to be logged.
            self._on_or("leave", touching=self._judged(step))
        if self._bench.step == step and not self._judged(step):
            # Over range with the tips on; or so low that the bench asks to keep them there.
            self._on_or("wait", touching=self._bench.reading.overload)
        if self._bench.step == step:
            self.type("lift")
        while self._bench.step == step and "touch again" in self._bench.bench.asked.say:
            self.type(f"probes {red}, {black}", "wait", "lift")

    def _on(self) -> None:
        """Say that the tips touch; asked whether they are on bare metal, say that they are."""
        self.type("on")
        asked = self._bench.bench.asked
        if asked is not None and ON_METAL in asked.answers:
            self.type(ON_METAL)

    def _on_or(self, line: str, *, touching: bool) -> None:
        self._on() if touching else self.type(line)

    def _judged(self, step: str) -> bool:
        return bool(self._bench.bench.progress.results[step].judged)

    def _between(self, step: str) -> tuple[str, str]:
        asked = self.practice.steps[step]
        known = places(self.practice.engine)
        return tuple(
            next(p.name for p in known.values() if p.node in nodes and p.film == "bare")
            for nodes in asked.nodes
        )
