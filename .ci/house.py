"""Figures of the house, and two of its rules: no import runs upward, no chain is too long.

    python .ci/house.py

Prints how many modules and lines each folder has, how many modules have a single importer, the
longest chain of imports, and every import that runs upward between the rooms, in the order of
the layers that ``pyproject.toml`` declares for import-linter. Exits 1 where one of the two rules
is broken.
"""

import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import grimp

ROOT = Path(__file__).resolve().parent.parent
FLOORS = ("tui", "captures", "drivers", "meterlink")
LONGEST_CHAIN = 16
"""Modules in the longest chain of imports that is allowed; it only goes down, 14 is the aim."""


def main() -> int:
    """Print the figures; 1 where a rule of the house is broken."""
    sys.path.insert(0, str(ROOT))
    graph = grimp.build_graph(*FLOORS, cache_dir=None)
    print(f"{'folder':<10} {'modules':>7} {'lines':>7} {'places':>7}")
    for floor in FLOORS:
        files = list((ROOT / floor).rglob("*.py"))
        places = {
            entry.name
            for entry in (ROOT / floor).iterdir()
            if entry.suffix == ".py" or (entry / "__init__.py").is_file()
        }
        print(f"{floor:<10} {len(files):>7} {_lines(files):>7} {len(places):>7}")
    files = [file for floor in FLOORS for file in (ROOT / floor).rglob("*.py")]
    print(f"{'together':<10} {len(files):>7} {_lines(files):>7}")
    single = sum(
        len(graph.find_modules_that_directly_import(module)) == 1 for module in graph.modules
    )
    print(f"modules with a single importer: {single}")
    chain = _longest_chain(graph)
    print(f"longest chain of imports: {len(chain)} modules, {LONGEST_CHAIN} allowed")
    upward = sorted(_upward(graph))
    print(f"imports that run upward: {len(upward)}")
    for line in upward:
        print(f"  {line}")
    if len(chain) > LONGEST_CHAIN:
        print("  " + "\n  -> ".join(chain))
        return 1
    return 1 if upward else 0


def _lines(files: list[Path]) -> int:
    return sum(len(file.read_text(encoding="utf-8").splitlines()) for file in files)


def _longest_chain(graph: grimp.ImportGraph) -> list[str]:
    """Return the modules of the longest chain, from the top down.

    Raises:
        SystemExit: some modules import each other in a ring, so no chain has an end.
    """
    longest: dict[str, list[str]] = {}
    under_way: list[str] = []

    def below(module: str) -> list[str]:
        if module in under_way:
            ring = [*under_way[under_way.index(module) :], module]
            raise SystemExit("modules import each other in a ring: " + " -> ".join(ring))
        if module not in longest:
            under_way.append(module)
            imported = sorted(graph.find_modules_directly_imported_by(module))
            rest = max((below(one) for one in imported), key=len, default=[])
            longest[module] = [module, *rest]
            under_way.pop()
        return longest[module]

    return max((below(module) for module in sorted(graph.modules)), key=len)


def _upward(graph: grimp.ImportGraph) -> Iterator[str]:
    """Yield every import from a lower room to a higher one, by the layers of import-linter."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        contracts = tomllib.load(file)["tool"]["importlinter"]["contracts"]
    for contract in contracts:
        if contract["type"] != "layers":
            continue
        rank = {
            container + room.strip(): height
            for container in [f"{one}." for one in contract.get("containers", [])] or [""]
            for height, layer in enumerate(contract["layers"])
            for room in layer.replace(":", "|").split("|")
        }
        for importer in sorted(graph.modules):
            for imported in graph.find_modules_directly_imported_by(importer):
                higher, lower = _height(imported, rank), _height(importer, rank)
                if higher is not None and lower is not None and higher < lower:
                    yield f"{importer} -> {imported}"


def _height(module: str, rank: dict[str, int]) -> int | None:
    parts = module.split(".")
    for n in range(len(parts), 0, -1):
        if ".".join(parts[:n]) in rank:
            return rank[".".join(parts[:n])]
    return None


if __name__ == "__main__":
    sys.exit(main())
