"""Change one thing at a time in a module and see whether its tests notice.

    python .ci/mutate.py                            every module of mutate.toml, a sample of each
    python .ci/mutate.py meterlink/steps/taps.py    that one, all of it
    python .ci/mutate.py --most 40 --seed 7 ...     so many changes of each module at the most

``mutate.toml`` says which tests watch a module, and of which lines a change is known to make no
difference, with the reason. A change of a line that no test reaches survives without a run. Prints
every other survivor and the counts; exits 1 where one is left. Needs ``fork``: each change is
imported and tested in a child of its own, so that no file is touched and no library loaded twice.
"""

import argparse
import ast
import copy
import importlib.abc
import importlib.util
import json
import os
import random
import signal
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import CodeType, FrameType
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parent.parent
SLOWER = 4.0
"""A run that lasts so many times the unchanged one, and some seconds, never ends: it is noticed."""

COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
COUNTED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
}


class Change(NamedTuple):
    """One changed place of a module."""

    line: int
    was: str
    becomes: str
    code: CodeType

    @property
    def words(self) -> str:
        """What is changed into what, on one line."""
        return f"{self.was} -> {self.becomes}"


class Watched(NamedTuple):
    """A module and the tests that watch it."""

    path: str
    tests: list[str]

    @property
    def name(self) -> str:
        """Its dotted name."""
        return self.path.removesuffix(".py").replace("/", ".")


def main() -> int:
    """Run the changes asked for; 1 where one survives that nobody accounted for."""
    if not hasattr(os, "fork"):
        sys.exit("This needs fork, which this system does not have; run it on Linux or macOS.")
    parser = argparse.ArgumentParser(description="Change modules and see whether tests notice.")
    parser.add_argument("modules", nargs="*", help="files of mutate.toml; all where none is named")
    parser.add_argument("--most", type=int, default=0, help="changes of each module; 0 for all")
    parser.add_argument("--seed", type=int, default=1, help="chooses which")
    args = parser.parse_args()
    with (ROOT / ".ci" / "mutate.toml").open("rb") as file:
        config = tomllib.load(file)
    watched = [Watched(one["path"], one["tests"]) for one in config["module"]]
    known = {(one["path"], line) for one in config.get("harmless", []) for line in one["lines"]}
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    _warm_up()
    left = 0
    for module in watched:
        if not args.modules or module.path in args.modules:
            left += _run(module, known, args.most, args.seed)
    return 1 if left else 0


def _run(module: Watched, known: set[tuple[str, str]], most: int, seed: int) -> int:
    """Try the changes of one module; return how many survive that nobody accounted for."""
    began = time.monotonic()
    reached = _watch(module)
    limit = SLOWER * (time.monotonic() - began) + 5.0
    changes = list(changes_of(ROOT / module.path))
    if most and len(changes) > most:
        chosen = sorted(random.Random(seed).sample(range(len(changes)), most))  # noqa: S311
        changes = [changes[index] for index in chosen]
    lines = (ROOT / module.path).read_text(encoding="utf-8").splitlines()
    counts: Counter[str] = Counter()
    for change in changes:
        if (module.path, lines[change.line - 1].strip()) in known:
            counts["harmless"] += 1
            continue
        tests = reached.get(change.line, [])
        fate = "not reached"
        if tests:
            fate = "noticed" if _fails(module, change, tests, limit) else "survived"
        counts[fate] += 1
        if fate != "noticed":
            print(f"{module.path}:{change.line}: {fate}: {change.words}", flush=True)
    said = ", ".join(f"{number} {fate}" for fate, number in sorted(counts.items()))
    print(f"{module.path}: {len(changes)} changes: {said}", flush=True)
    return counts["survived"] + counts["not reached"]


# --- the changes ------------------------------------------------------------------------------


def changes_of(path: Path) -> Iterator[Change]:
    """Yield every change of the module at ``path``, in the order of its lines."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    shapes = {  # frozen, kw_only: what a class is made like is for the type checker
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef)
        for keyword in node.keywords
        for inner in ast.walk(keyword)
    }
    for index, node in enumerate(ast.walk(tree)):
        if id(node) in shapes:
            continue
        for turn in range(len(list(_changed(node)))):
            other = copy.deepcopy(tree)
            twin = next(one for at, one in enumerate(ast.walk(other)) if at == index)
            was = _shown(twin)
            becomes = list(_changed(twin))[turn]
            _put(other, twin, becomes)
            ast.fix_missing_locations(other)
            pattern = node.pattern if isinstance(node, ast.match_case) else node
            line = getattr(pattern, "lineno", 1)
            yield Change(line, was, _shown(becomes), compile(other, str(path), "exec"))


def _changed(node: ast.AST) -> Iterator[ast.AST]:
    """Yield what may stand in the place of ``node``; nothing for most."""
    match node:
        case ast.Compare(ops=[op]):
            for other in COMPARED[type(op)]:
                yield _like(node, ops=[other()])
        case ast.BoolOp(op=op):
            yield _like(node, op=ast.Or() if isinstance(op, ast.And) else ast.And())
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            yield operand
        case ast.BinOp(op=op) if type(op) in COUNTED and not _joins_texts(node):
            yield _like(node, op=COUNTED[type(op)]())
        case ast.Constant(value=bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(value=int() | float() as number):
            yield ast.Constant(number + 1 if isinstance(number, int) else 2 * number or 1.0)
        case _:
            yield from _other_course(node)


def _other_course(node: ast.AST) -> Iterator[ast.AST]:
    """Yield the same for what decides where the program goes, and for what it does there."""
    match node:
        case ast.If(test=test) | ast.IfExp(test=test) | ast.While(test=test):
            if not isinstance(test, ast.Compare | ast.UnaryOp):  # these are changed themselves
                yield _like(node, test=ast.UnaryOp(ast.Not(), test))
        case ast.match_case(guard=ast.expr()):
            yield _like(node, guard=ast.Constant(value=True))
        case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]) | ast.AugAssign():
            yield ast.Pass()
        case ast.Expr(value=ast.Call() | ast.Yield() | ast.YieldFrom()):
            yield ast.Pass()


def _like(node: ast.AST, **fields: Any) -> ast.AST:
    """Return a copy of ``node`` with other ``fields``."""
    other = copy.copy(node)
    for name, value in fields.items():
        setattr(other, name, value)
    return other


def _joins_texts(node: ast.BinOp) -> bool:
    """Return whether two texts are put together rather than numbers."""
    return isinstance(node.op, ast.Add) and any(
        isinstance(side, ast.JoinedStr | ast.Constant)
        and isinstance(getattr(side, "value", ""), str)
        for side in (node.left, node.right)
    )


def _put(tree: ast.AST, old: ast.AST, new: ast.AST) -> None:
    """Put ``new`` in the place of ``old`` within ``tree``."""
    for parent in ast.walk(tree):
        for name, value in ast.iter_fields(parent):
            if value is old:
                setattr(parent, name, ast.copy_location(new, old))
                return
            if isinstance(value, list) and any(one is old for one in value):
                moved = ast.copy_location(new, old) if hasattr(old, "lineno") else new
                setattr(parent, name, [moved if one is old else one for one in value])
                return


def _shown(node: ast.AST) -> str:
    """Return ``node`` as its first line of code."""
    if isinstance(node, ast.match_case):
        guard = "" if node.guard is None else f" if {ast.unparse(node.guard)}"
        return f"case {ast.unparse(node.pattern)}{guard}"
    return ast.unparse(ast.fix_missing_locations(node)).splitlines()[0]


# --- running them -----------------------------------------------------------------------------


def _warm_up() -> None:
    """Load what no change touches, so that every child has it already."""
    for name in ("pytest", "hypothesis", "msgspec", "numpy", "scipy.stats", "scipy.optimize"):
        importlib.import_module(name)


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.InspectLoader):
    """Imports one module from changed code, and leaves all others alone."""

    def __init__(self, module: Watched, code: CodeType) -> None:
        self._module = module
        self._code = code

    def find_spec(self, fullname: str, path: object, target: object = None) -> Any:
        if fullname != self._module.name:
            return None
        place = ROOT / self._module.path
        return importlib.util.spec_from_file_location(fullname, place, loader=self)

    def get_source(self, fullname: str) -> str:
        return (ROOT / self._module.path).read_text(encoding="utf-8")

    def get_code(self, fullname: str) -> CodeType:
        return self._code


def _fails(module: Watched, change: Change, tests: list[str], limit: float) -> bool:
    """Return whether one of ``tests`` fails, or never ends, with ``change`` in place."""
    child = os.fork()
    if child == 0:
        sys.meta_path.insert(0, _Changed(module, change.code))
        _test(tests)
    end = time.monotonic() + limit
    while time.monotonic() < end:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return status != 0
        time.sleep(0.01)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return True


def _watch(module: Watched) -> dict[int, list[str]]:
    """Return which tests reach each line of the module, the quickest first.

    A line that runs where the module is imported is reached by all of them.

    Raises:
        SystemExit: the tests fail with nothing changed.
    """
    place = str(ROOT / module.path)
    inward, outward = os.pipe()
    child = os.fork()
    if child == 0:
        tracer = _Tracer(place)
        _test(module.tests, tracer, lambda: os.write(outward, json.dumps(tracer.found).encode()))
    os.close(outward)
    with os.fdopen(inward, "rb") as file:
        said = file.read()
    if os.waitpid(child, 0)[1] != 0:
        sys.exit(f"{module.path}: its tests fail with nothing changed; mend them first.")
    found: list[tuple[str, float, list[int]]] = json.loads(said)
    quickest = sorted(found, key=lambda one: one[1])
    by_line: dict[int, list[str]] = {}
    for test, _, lines in quickest:
        for line in lines:
            by_line.setdefault(line, []).append(test)
    for first, last in _spans(Path(place)):
        for line in range(first, last + 1):
            by_line.setdefault(line, by_line.get(first, []))
    everything = [test for test, _, _ in quickest if test]
    return {line: everything if "" in tests else tests for line, tests in by_line.items()}


class _Tracer:
    """Notes the lines of one file that each test reaches; a plugin of pytest."""

    def __init__(self, place: str) -> None:
        self._place = place
        self._lines: set[int] = set()
        self._began = 0.0
        self.found: list[tuple[str, float, list[int]]] = []
        """Each test with its seconds and lines; first, with no name, what importing reaches."""
        sys.settrace(self._enter)

    def pytest_runtest_logstart(self) -> None:
        if not self.found:
            self._note("")
        self._began = time.monotonic()
        sys.settrace(self._enter)

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        self._note(nodeid)

    def _note(self, test: str) -> None:
        self.found.append((test, time.monotonic() - self._began, sorted(self._lines)))
        self._lines.clear()

    def _enter(self, frame: FrameType, what: str, _: object) -> Any:
        return self._within(frame, what, _) if frame.f_code.co_filename == self._place else None

    def _within(self, frame: FrameType, what: str, _: object) -> Any:
        self._lines.add(frame.f_lineno)
        return self._within


def _spans(path: Path) -> list[tuple[int, int]]:
    """Return first and last line of every simple statement and of the heads of the others."""
    spans = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            last = body[0].lineno - 1 if isinstance(body, list) and body else node.end_lineno
            spans.append((node.lineno, max(node.lineno, last or node.lineno)))
    return spans


def _test(tests: Sequence[str], plugin: object = None, after: Any = None) -> None:
    """Run ``tests`` in this child, which ends with it: 0 where all pass."""
    os.setsid()
    quiet = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(quiet, stream)
    os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = tempfile.mkdtemp(prefix="mutate-")
    code = 3
    try:
        import pytest

        plain = ["-n0", "-x", "-q", "-p", "no:cacheprovider", "--hypothesis-seed=1"]
        known = ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # they are loaded, see above
        code = int(pytest.main([*plain, *known, *tests], [plugin] if plugin else None))
        sys.settrace(None)
        if after is not None:
            after()
    finally:
        os._exit(code)


if __name__ == "__main__":
    sys.exit(main())
