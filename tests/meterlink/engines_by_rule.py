"""Engines of another make than the circuit's: a second opinion on the finding.

Nothing here uses ``meterlink.circuit`` or the numbers of the fault table. An engine is a set of
faults, of each of which it is drawn whether it blocks the spark and what it shows to a meter, a
gauge or an eye. Trials take faults away and see what is left. The spreads are wider than those of
the circuit's generator, and a sound part may look bad: a plug is dirty, a gap a little out. All
shares are judgements for a test.
"""

from collections.abc import Iterable
from typing import Final

import numpy as np

from meterlink.finding.model import Model
from meterlink.finding.table import shipped_table

ARMATURE: Final = {
    "open-primary": 0.995,
    "shorted-primary": 0.97,
    "shorted-turns": 0.88,
    "open-secondary": 0.90,
    "leaking-insulation": 0.85,
    "module-faulty": 0.96,
}
BLOCKS: Final = {
    **ARMATURE,
    "bad-lead-or-cap": 0.86,
    "stop-wire-chafed": 0.90,
    "poor-earth": 0.85,
    "weak-or-cracked-magnet": 0.86,
    "key-sheared-or-missing": 0.08,
    "wrong-air-gap": 0.82,
}
"""Share in which a fault takes the spark away; a stuck switch always does."""


SILENT: Final = frozenset({"key-sheared-or-missing", "plug-bad", "none"})
"""With these a spark jumps the test gap, and the engine doesn't run."""


class RuleEngine:
    """One engine with one fault or more, answering every check of the fault table."""

    def __init__(
        self, model: Model, faults: Iterable[str], rng: np.random.Generator, slip: float = 0.0
    ) -> None:
        """Draw the engine; ``slip`` is the share of checks whose answer is another, at random."""
        self.faults = tuple(faults)
        self.left = self.faults
        """Those that are not mended."""
        at = {suspect.name: suspect.place for suspect in model.suspects}
        self.places = frozenset(at[fault] for fault in self.faults)
        self._model, self._rng, self._slip = model, rng, slip
        self._hot = model.complaint == "dies-hot"
        self._runs = model.complaint == "wont-stop"
        self._blocking = {f for f in self.faults if self._blocks(f)}
        self._shown: dict[str, str] = {}

    @property
    def complains(self) -> bool:
        """Whether each of its faults, alone, would make it come in with the complaint."""
        return self._runs or all(f in self._blocking or f in SILENT for f in self.faults)

    def answer(self, check: str) -> str:
        """Do a check; the same again unless a hand slips."""
        if check not in self._shown:
            self._shown[check] = self._true(check)
        true = self._shown[check]
        outcomes = self._model.nodes[check].outcomes
        if self._slip and self._rng.random() < self._slip:
            others = [outcome for outcome in outcomes if outcome != true]
            return str(self._rng.choice(others))
        return true

    def mend(self, place: str) -> None:
        """Put a place right."""
        at = {suspect.name: suspect.place for suspect in self._model.suspects}
        self.left = tuple(fault for fault in self.left if at[fault] != place)
        self._blocking &= set(self.left)
        # What was looked at before shows itself again, as far as it hung on the fault.
        self._shown = {}

    # --- what the engine does -----------------------------------------------------------------

    def _chance(self, share: float) -> bool:
        return bool(self._rng.random() < share)

    def _pick(self, **shares: float) -> str:
        names = [name.replace("_", "-") for name in shares]
        weights = np.array(list(shares.values()))
        return str(self._rng.choice(names, p=weights / weights.sum()))

    def _has(self, fault: str) -> bool:
        return fault in self.left

    def _cold(self, fault: str) -> bool:
        """Whether a fault shows on the bench; one that comes with heat mostly does not."""
        return self._has(fault) and not self._hot

    def _blocks(self, fault: str) -> bool:
        if self._runs:
            return False
        if fault.endswith("-stuck-closed"):
            return self._chance(0.82 if self._hot else 0.985)
        return self._chance(BLOCKS.get(fault, 0.0) * (0.86 if self._hot else 1.0))

    def _spark(self, without: Iterable[str] = ()) -> bool:
        """Whether a spark jumps with these faults taken away."""
        left = self._blocking - set(without)
        return not left and self._chance(0.985)

    def _stops(self) -> bool:
        return not (self._runs and set(self.left) - {"none"})

    # --- what a check shows --------------------------------------------------------------------

    def _true(self, check: str) -> str:
        part = self._model.nodes[check].part
        if part:
            return self._unplugged(part) if check.startswith("spark-") else self._switch(part)
        own = getattr(self, "_" + check.replace("-", "_"))
        shown: str = own()
        return shown

    def _first(self) -> str:
        """The spark at the gap, done or not: what later trials are compared with."""
        if "spark-at-gap" not in self._shown:
            self._shown["spark-at-gap"] = "yes" if self._spark() else "no"
        return self._shown["spark-at-gap"]

    def _spark_at_gap(self) -> str:
        return self._first()

    def _again(self, without: Iterable[str]) -> str:
        """A trial with something put right; nothing put right, nothing changes, mostly."""
        gone = set(without) & self._blocking
        if not gone:
            return self._first() if self._chance(0.98) else self._other(self._first())
        return "yes" if self._spark(gone) else "no"

    def _other(self, outcome: str) -> str:
        return "no" if outcome == "yes" else "yes"

    def _stuck(self) -> set[str]:
        return {f for f in self.left if f.endswith("-stuck-closed")}

    def _spark_with_stop_isolated(self) -> str:
        return self._again({*self._stuck(), "stop-wire-chafed"})

    def _unplugged(self, part: str) -> str:
        moved = {"stop-wire-chafed"} if self._chance(0.05) else set()
        return self._again({f"{part}-stuck-closed", *moved})

    def _spark_with_gap_set(self) -> str:
        seated = {"poor-earth"} if self._chance(0.2) else set()
        helped = {"weak-or-cracked-magnet"} if self._chance(0.1) else set()
        return self._again({"wrong-air-gap", *seated, *helped})

    def _comes_and_goes(self, fault: str, cures: float) -> str:
        if fault not in self._blocking or self._first() == "yes" or not self._chance(cures):
            return "no"
        return "yes" if self._spark({fault}) else "no"

    def _spark_with_earth_bridged(self) -> str:
        return self._comes_and_goes("poor-earth", 0.95)

    def _spark_with_good_lead(self) -> str:
        return self._comes_and_goes("bad-lead-or-cap", 0.88)

    def _substitution_module(self) -> str:
        gone = {*ARMATURE, "wrong-air-gap"}
        gone |= {"bad-lead-or-cap"} if self._chance(0.85) else set()
        gone |= {"poor-earth"} if self._chance(0.35) else set()
        return self._again(gone)

    def _spark_with_control_at_stop(self) -> str:
        if not self._runs:
            return "no" if self._chance(0.98) else "yes"
        return "yes" if not self._stops() and self._chance(0.93) else "no"

    def _spark_with_terminal_earthed(self) -> str:
        dead = self._runs and self._has("module-faulty")
        return "yes" if dead and self._chance(0.96) else "no"

    def _plug_condition(self) -> str:
        if self._has("plug-bad"):
            return self._pick(good=0.05, fouled=0.55, cracked=0.22, gap_wrong=0.18)
        return self._pick(good=0.82, fouled=0.10, cracked=0.01, gap_wrong=0.07)

    def _primary_resistance(self) -> str:
        if self._cold("open-primary"):
            return "open" if self._chance(0.93) else "above"
        if self._cold("shorted-primary"):
            return self._pick(short=0.7, below=0.27, in_window=0.03)
        if self._has("open-primary") and self._chance(0.18):
            return self._pick(open=0.4, above=0.6)
        if self._has("shorted-primary") and self._chance(0.3):
            return self._pick(short=0.15, below=0.85)
        if self._cold("shorted-turns") and self._chance(0.15):
            return "below"
        return self._pick(in_window=0.965, below=0.015, above=0.02)

    def _secondary_resistance(self) -> str:
        if self._cold("open-secondary"):
            return self._pick(open=0.88, above=0.11, in_window=0.01)
        through = self._lead_state()
        if through in ("open", "above"):
            return through if self._chance(0.95) else "in-window"
        if self._has("open-secondary") and self._chance(0.35):
            return self._pick(open=0.5, above=0.5)
        if self._cold("open-primary") and self._chance(0.15):
            return "open"
        if self._cold("shorted-turns") and self._chance(0.35):
            return "below"
        if self._has("leaking-insulation") and self._chance(0.12):
            return "below"
        return self._pick(in_window=0.96, below=0.015, above=0.02, open=0.005)

    def _lead_state(self) -> str:
        """What the lead and cap read, drawn once: the secondary is measured through them."""
        if "lead" not in self._shown:
            state = "in-window" if self._chance(0.97) else "above"
            if self._has("bad-lead-or-cap") and self._chance(0.6 if self._hot else 1.0):
                state = self._pick(open=0.58, above=0.28, in_window=0.14)
            self._shown["lead"] = state
        return self._shown["lead"]

    def _lead_resistance(self) -> str:
        state = self._lead_state()
        if state == "in-window" and self._has("bad-lead-or-cap") and self._chance(0.15):
            return "open"  # it parted as it was moved
        return state

    def _insulation(self) -> str:
        leaks = self._has("leaking-insulation") and self._chance(0.5)
        return "leaks" if leaks or self._chance(0.02) else "passed"

    def _switch(self, part: str) -> str:
        if self._has(f"{part}-stuck-closed"):
            return "stuck-closed" if self._chance(0.55 if self._hot else 0.95) else "passed"
        if self._has(f"{part}-never-closes"):
            return "never-closes" if self._chance(0.94) else "passed"
        wire = "wire" in self._shown or self._chance(0.3 if not self._hot else 0.1)
        if self._has("stop-wire-chafed") and not self._runs and wire:
            return "stuck-closed"
        if self._has("stop-wire-chafed") and self._runs and self._bench("parted", 0.5):
            return "never-closes"
        if self._has("stop-wire-broken") and self._bench("broken", 0.9):
            return "never-closes"
        if self._runs and self._has("poor-earth") and self._bench("rusty", 0.6):
            return "never-closes"
        return self._pick(passed=0.985, stuck_closed=0.007, never_closes=0.008)

    def _bench(self, what: str, share: float) -> bool:
        """A chance that is drawn once for this engine, however often it is looked at."""
        if what not in self._shown:
            self._shown[what] = "yes" if self._chance(share) else "no"
        return self._shown[what] == "yes"

    def _stop_wire_watch(self) -> str:
        share = 0.03
        share = 0.8 if self._has("stop-wire-chafed") else share
        share = 0.93 if self._has("stop-wire-broken") else share
        return "some" if self._chance(share) else "none"

    def _earth_path(self) -> str:
        return "poor" if self._chance(0.9 if self._has("poor-earth") else 0.025) else "good"

    def _air_gap(self) -> str:
        if self._has("wrong-air-gap"):
            return self._pick(above=0.76, below=0.2, in_window=0.04)
        return self._pick(in_window=0.88, above=0.07, below=0.05)

    def _magnet_pull(self) -> str:
        if self._has("weak-or-cracked-magnet"):
            return self._pick(weak=0.62, cracked=0.26, strong=0.12)
        return self._pick(strong=0.965, weak=0.03, cracked=0.005)

    def _magnet_cracks(self) -> str:
        pull = self.answer_truly("magnet-pull")
        if self._has("weak-or-cracked-magnet"):
            share = {"strong": 0.9, "weak": 0.3, "cracked": 0.97}[pull]
        else:
            share = {"strong": 0.01, "weak": 0.02, "cracked": 0.15}[pull]
        return "some" if self._chance(share) else "none"

    def answer_truly(self, check: str) -> str:
        """Return what a check shows where no hand slips."""
        if check not in self._shown:
            self._shown[check] = self._true(check)
        return self._shown[check]

    def _flywheel_key(self) -> str:
        if self._has("key-sheared-or-missing"):
            return self._pick(sheared=0.85, missing=0.13, whole=0.02)
        return self._pick(whole=0.99, sheared=0.007, missing=0.003)

    def _soak(self) -> str:
        opens = self._hot and (self._has("open-primary") or self._has("open-secondary"))
        return "opens-hot" if self._chance(0.84 if opens else 0.04) else "steady"

    def _spark_again(self) -> str:
        armature = self._blocking & set(ARMATURE)
        return "no" if armature or not self._chance(0.95) else "yes"

    def _start(self) -> str:
        works = self.answer_truly("spark-again") == "yes" and not self._has("none")
        return "yes" if works and self._chance(0.88) else "no"

    def _trial_run(self) -> str:
        """Whether the complaint is gone: nothing left that makes it, this time."""
        brings = self._blocking | (SILENT & set(self.left))
        if self._runs:
            brings = set(self.left)
        back = bool(brings) and self._chance(0.97)
        return "fault" if back or self._chance(0.015) else "good"

    def _stop_check(self) -> str:
        return "stops" if self._stops() else "runs-on"


def draw_faults(model: Model, rng: np.random.Generator, count: int) -> tuple[str, ...]:
    """Return ``count`` faults in as many places, by their shares among the engines that come in."""
    shares = np.array([suspect.prior for suspect in model.suspects])
    while True:
        chosen = [
            model.suspects[int(rng.choice(len(shares), p=shares / shares.sum()))]
            for _ in range(count)
        ]
        if len({suspect.place for suspect in chosen}) == count:
            return tuple(suspect.name for suspect in chosen)


def draw_engine(
    model: Model, rng: np.random.Generator, count: int, slip: float = 0.0
) -> RuleEngine:
    """Return an engine with ``count`` faults that would come in with the model's complaint."""
    while True:
        engine = RuleEngine(model, draw_faults(model, rng, count), rng, slip)
        if engine.complains:
            return engine


SWITCHES = ("brake-switch", "throttle-switch", "key-switch", "low-oil-switch", "seat-switch")


class Draws:
    """Engines as they come in: complaint, switches, one fault or two."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self._models: dict[tuple[str, tuple[str, ...]], Model] = {}

    def model(self) -> Model:
        """Return the model of a job."""
        complaint = str(self.rng.choice(["no-spark", "wont-stop", "dies-hot"], p=[0.6, 0.2, 0.2]))
        fitted = self.rng.choice(SWITCHES, size=self.rng.integers(0, 3), replace=False)
        key = (complaint, tuple(sorted(map(str, fitted))))
        if key not in self._models:
            self._models[key] = Model(shipped_table(), complaint, ["stop-switch", *key[1]])
        return self._models[key]
