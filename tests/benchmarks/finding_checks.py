"""How many checks does the advice take, and how often does it find the fault?

Draws engines from the shipped fault table: complaint, one to three stop switches, fault by its
prior, and each outcome by its probability. Follows the best next checks until a place is 95 %
probable or no check tells more, and beside that the fixed trade order of the no-spark card. The
engines are those that the table believes in: this measures the advice, not the table.

    python tests/benchmarks/finding_checks.py [--engines 1000] [--seed 1]
"""

import argparse
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from meterlink.finding.find import finding
from meterlink.finding.model import Model, Node
from meterlink.finding.outcomes import record
from meterlink.finding.posterior import SURE, Belief
from meterlink.finding.search import Walk, follow, in_order
from meterlink.finding.table import shipped_table

SWITCHES = (
    "stop-switch",
    "brake-switch",
    "throttle-switch",
    "key-switch",
    "low-oil-switch",
    "seat-switch",
)

TRADE_ORDER = (
    "plug-condition",
    "spark-at-gap",
    "spark-with-stop-isolated",
    "primary-resistance",
    "secondary-resistance",
    "lead-resistance",
    "insulation",
    *SWITCHES,
    "stop-wire-watch",
    "earth-path",
    "flywheel-key",
    "magnet-pull",
    "magnet-cracks",
    "air-gap",
    "soak",
    "spark-with-gap-set",
    "spark-with-earth-bridged",
    "spark-with-good-lead",
    "substitution-module",
)


def shares_of(model: Model, node: Node, said: dict[str, str], fault: int) -> np.ndarray:
    """Return the probability of each outcome of ``node`` under one fault alone."""
    joint = Belief(model, record(model, dict(said)).evidence).outcome_shares(node)
    return joint[:, fault] / joint[:, fault].sum()


class TableEngine:
    """An engine that answers as the table says an engine with this fault would."""

    def __init__(self, model: Model, fault: int, rng: np.random.Generator) -> None:
        self.fault = model.suspects[fault].name
        self.place = model.suspects[fault].place
        self.outcomes: dict[str, str] = {}
        for node in model.nodes.values():
            shares = shares_of(model, node, self.outcomes, fault)
            self.outcomes[node.name] = node.outcomes[rng.choice(len(shares), p=shares)]

    def answer(self, check: str) -> str:
        return self.outcomes[check]


def draw(rng: np.random.Generator) -> tuple[Model, TableEngine]:
    table = shipped_table()
    complaint = str(rng.choice(list(table.complaints), p=[0.6, 0.2, 0.2]))
    fitted = rng.choice(SWITCHES[1:], size=rng.integers(0, 3), replace=False)
    model = Model(table, complaint, ["stop-switch", *map(str, fitted)])
    return model, TableEngine(model, int(rng.choice(len(model.alone), p=model.alone)), rng)


def all_checks(model: Model, engine: TableEngine) -> Walk:
    """What every check together would say: no choice of checks can find more."""
    open_checks = [node for node in model.nodes.values() if not node.declared.closing]
    said = {node.name: engine.outcomes[node.name] for node in open_checks}
    found = finding(model, said)
    setups = {setup for node in open_checks for setup in node.declared.needs}
    return Walk(
        checks=tuple(said),
        minutes=sum(node.declared.minutes for node in open_checks)
        + sum(model.table.setups[setup].minutes for setup in setups),
        parts=sum(node.declared.parts for node in open_checks),
        place=found.places[0].place,
        probability=found.places[0].probability,
        places=tuple(placed.place for placed in found.named),
        set_probability=found.sets[0].probability,
        fault=found.faults[0].fault,
        sure=found.places[0].probability >= SURE,
        mended=(),
    )


def row(name: str, walks: list[tuple[TableEngine, Walk]]) -> str:
    count = len(walks)
    checks = sum(len(walk.checks) for _, walk in walks) / count
    minutes = sum(walk.minutes for _, walk in walks) / count
    parts = sum(walk.parts for _, walk in walks) / count
    found = sum(walk.place == engine.place for engine, walk in walks) / count
    named = sum(walk.fault == engine.fault for engine, walk in walks) / count
    sure = sum(walk.sure for _, walk in walks) / count
    wrong = sum(walk.sure and walk.place != engine.place for engine, walk in walks) / count
    return (
        f"{name:<34}{count:>8}{checks:>8.2f}{minutes:>9.1f}{parts:>7.1f}"
        f"{found:>8.1%}{named:>8.1%}{sure:>8.1%}{wrong:>12.1%}"
    )


def contradictions(engines: list[tuple[Model, TableEngine]], rng: np.random.Generator) -> None:
    """How often one fault is said to contradict itself, and how often a wrong outcome shows."""
    said, spoilt, odd = 0, 0, 0
    for model, engine in engines:
        said += finding(model, engine.outcomes).contradictory
        wrong = dict(engine.outcomes)
        fault = [suspect.name for suspect in model.suspects].index(engine.fault)
        node = model.nodes[str(rng.choice(["primary-resistance", "spark-at-gap"]))]
        shares = shares_of(model, node, {}, fault)
        wrong[node.name] = node.outcomes[int(shares.argmin())]
        found = finding(model, wrong)
        spoilt += found.contradictory
        odd += found.contradictory or any(item.check == node.name for item in found.odd)
    count = len(engines)
    print(f"\nall checks recorded, one fault: said to be contradictory {said / count:.1%}")
    print(f"one outcome made the least likely: contradictory {spoilt / count:.1%}, ", end="")
    print(f"contradictory or named as odd {odd / count:.1%}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--engines", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    engines = [draw(rng) for _ in range(args.engines)]
    ways: dict[str, Callable[[Model, TableEngine], Walk]] = {
        "best next checks": lambda model, engine: follow(model, engine.answer),
        "trade order": lambda model, engine: follow(model, engine.answer, in_order(*TRADE_ORDER)),
    }
    print(f"{'':<34}{'engines':>8}{'checks':>8}{'minutes':>9}{'parts':>7}", end="")
    print(f"{'place':>8}{'fault':>8}{'sure':>8}{'sure, wrong':>12}")
    print(row("all checks", [(engine, all_checks(model, engine)) for model, engine in engines]))
    by_way = {}
    for name, way in ways.items():
        begun = time.perf_counter()
        by_way[name] = [(engine, way(model, engine)) for model, engine in engines]
        each = (time.perf_counter() - begun) / args.engines
        print(row(name, by_way[name]) + f"   {each * 1e3:.1f} ms an engine")
        for complaint in shipped_table().complaints:
            kept = [
                pair
                for pair, (model, _) in zip(by_way[name], engines, strict=True)
                if model.complaint == complaint
            ]
            print(row(f"  {complaint}", kept))
    checks, minutes = (
        sum(map(measure, by_way["best next checks"])) / sum(map(measure, by_way["trade order"]))
        for measure in (lambda pair: len(pair[1].checks), lambda pair: pair[1].minutes)
    )
    print(
        f"best next against trade order: {checks:.2f} of the checks, {minutes:.2f} of the minutes"
    )
    print("\nbest next checks, by fault")
    by_fault = defaultdict(list)
    for engine, walk in by_way["best next checks"]:
        by_fault[engine.fault].append((engine, walk))
    for fault, walks in sorted(by_fault.items()):
        print(row(f"  {fault}", walks))
    contradictions(engines, rng)


if __name__ == "__main__":
    main()
