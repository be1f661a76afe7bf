"""What a verdict becomes of 0.850 ohm, within limits, in each state that a meter can tell.

The engine is fed as by a meter that sends the flag with every reading, and the verdict is what it
says. Beside it stands how many of the descriptions that ship tell the state.
Run ``python tests/benchmarks/meter_states.py``.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from drivers.frames.store import load_all
from meterlink.events import Asked, Judged, MeterFlags
from meterlink.meter_state import MEANINGS
from meterlink.reading import Quantity, Reading
from tests.meterlink.bench_hands import PRIMARY, Hands, card

SECONDS = 4.0
STEP_S = 0.02


def verdict(flags: tuple[str, ...], quantity: Quantity) -> tuple[str, str]:
    """Return the verdict, and what is said of the state."""
    hands = Hands(card(PRIMARY)).cautions()
    for _ in range(int(SECONDS / STEP_S)):
        hands.t += STEP_S
        reading = Reading(hands.t, 0.85, quantity, 0.001, flags=flags)
        hands.events += hands.bench.feed(reading)
    judged, told = hands.all(Judged), hands.all(MeterFlags)
    said = [*told[-1].cautions, *told[-1].blocks] if told else []
    if not judged and not said:
        said = [hands.last(Asked).say]
    return judged[-1].verdict.value if judged else "none", " ".join(said)


def main() -> None:
    wires, _ = load_all()
    print(f"{'state':<14}{'verdict':<12}{'told by':<10}said")
    print(f"{'(none)':<14}{verdict((), Quantity.RESISTANCE)[0]:<12}")
    for flag, meaning in MEANINGS.items():
        quantity = Quantity(flag) if flag in ("diode", "continuity") else Quantity.RESISTANCE
        found, said = verdict(() if quantity.value == flag else (flag,), quantity)
        by = [
            wire.name
            for wire in wires
            if flag in wire.description.flags
            or any(flag == mode.quantity for mode in wire.description.modes)
        ]
        print(
            f"{flag:<14}{found:<12}{f'{len(by)} of {len(wires)}':<10}{said or meaning.effect.value}"
        )


if __name__ == "__main__":
    main()
