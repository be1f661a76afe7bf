"""Whoever adds a kind of step and forgets to list it is told so: no card could hold it."""

import importlib
import pkgutil
import sys
from collections.abc import Iterator
from types import ModuleType
from typing import get_args

import meterlink.steps
from meterlink.card import OwnEvent, Step
from meterlink.events import StepEvent
from meterlink.steps.step import StepBase


def defined_in(package: ModuleType, base: type) -> Iterator[type]:
    """Yield every class under ``base`` that a module of ``package`` defines."""
    for found in pkgutil.iter_modules(package.__path__, f"{package.__name__}."):
        module = importlib.import_module(found.name)
        for thing in vars(module).values():
            own = isinstance(thing, type) and thing.__module__ == module.__name__
            if own and issubclass(thing, base) and thing is not base:
                yield thing


def test_every_kind_of_step_can_stand_on_a_card():
    assert set(defined_in(meterlink.steps, StepBase)) == set(get_args(Step))


def test_every_event_of_a_kind_can_happen_on_the_bench():
    assert set(defined_in(meterlink.steps, StepEvent)) == set(get_args(OwnEvent))


def test_one_that_is_forgotten_would_be_found(tmp_path, monkeypatch):
    package = tmp_path / "kinds_of_a_test"
    package.mkdir()
    (package / "__init__.py").touch()
    (package / "forgotten.py").write_text(
        "from meterlink.steps.step import StepBase\n\n\nclass ForgottenStep(StepBase):\n    pass\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    kinds = importlib.import_module(package.name)
    names = [kind.__name__ for kind in defined_in(kinds, StepBase)]
    for name in ("kinds_of_a_test", "kinds_of_a_test.forgotten"):
        del sys.modules[name]
    assert names == ["ForgottenStep"]
