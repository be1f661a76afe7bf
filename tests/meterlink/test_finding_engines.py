"""The advice followed on engines of another make, with one fault and with two, and hands that slip.

A sample that is quick; the tables over thousands of engines are those of
``tests/benchmarks/finding_calibration.py``.
"""

from meterlink.finding.search import Walk, follow
from tests.meterlink.engines_by_rule import Draws, RuleEngine, draw_engine

ENGINES = 40


def searches(count: int, slip: float, seed: int) -> list[tuple[RuleEngine, Walk]]:
    draws = Draws(seed)
    found = []
    for _ in range(ENGINES):
        model = draws.model()
        engine = draw_engine(model, draws.rng, count, slip)
        found.append((engine, follow(model, engine.answer, mend=engine.mend)))
    return found


def all_named(found: list[tuple[RuleEngine, Walk]]) -> int:
    return sum(engine.places <= set(walk.places) for engine, walk in found)


def sure_and_wrong(found: list[tuple[RuleEngine, Walk]]) -> int:
    return sum(walk.sure and not engine.places >= set(walk.places) for engine, walk in found)


def test_one_fault_is_found_in_hardly_more_checks_than_by_the_table_alone() -> None:
    found = searches(1, 0.0, 301)
    assert all_named(found) >= 38
    assert sure_and_wrong(found) == 0
    assert sum(len(walk.checks) for _, walk in found) / ENGINES < 10


def test_two_faults_are_both_named() -> None:
    found = searches(2, 0.0, 302)
    assert all_named(found) >= 31
    assert sum(bool(engine.places & set(walk.places)) for engine, walk in found) >= 38
    assert sure_and_wrong(found) == 0


def test_hands_that_slip_seldom_make_it_sure_of_what_is_false() -> None:
    found = searches(1, 0.15, 303)
    assert sure_and_wrong(found) <= 3
    assert all_named(found) >= 30


def test_the_same_check_again_is_never_done_without_end() -> None:
    draws = Draws(304)
    model = draws.model()
    flips = iter(["yes", "no"] * 400)

    def answer(check: str) -> str:
        outcomes = model.nodes[check].outcomes
        return outcomes[0] if next(flips) == "yes" else outcomes[1]

    walk = follow(model, answer, mend=lambda place: None)
    assert len(walk.checks) < 200
