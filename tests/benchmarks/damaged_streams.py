"""What bytes lost, doubled or flipped on the way do to readings, and how many reach a held value.

A meter sends 0.8423 ohm with a little noise, frame after frame; one frame in ten is damaged in one
way, by the injector of the simulated meter. A reading farther from the truth than its noise allows
was accepted wrong. Every format that ships is gone through, and an instrument that is asked.

Run ``python tests/benchmarks/damaged_streams.py``.
"""

import math
import random
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from drivers.frames.store import load, names
from drivers.simulated.streaming_meter import Send, StreamFaultInjector, StreamFaults
from meterlink.events import Held
from meterlink.hold.detector import HoldDetector
from meterlink.reading import Reading

FRAMES = 3000
TOUCH = 60
"""Frames of one touch; between two the probes are off for 6."""
DAMAGED = 0.1
"""Share of frames."""


def damage(kind: str, frame: bytes, rng: random.Random) -> bytes:
    spoiler = StreamFaultInjector(StreamFaults(**{kind: 1.0}), rng)
    return b"".join(sent.data for sent in spoiler.happenings(frame) if isinstance(sent, Send))


def try_wire(name: str, kind: str, seed: int = 1) -> tuple[int, int, int, int]:
    """Return damaged frames, readings accepted wrong, wrong holds and holds."""
    wire, rng = load(name), random.Random(seed)
    encoder, decoder = wire.encoder(), wire.decoder()
    detector = HoldDetector()
    truth = 0.842
    damaged = wrong = wrong_holds = holds = 0
    for n in range(FRAMES):
        touching = n % (TOUCH + 6) < TOUCH
        value = round(truth + rng.choice((0, 0, 0.001)), 4) if touching else math.inf
        frame = encoder.frame(value)
        if rng.random() < DAMAGED:
            spoilt = damage(kind, frame, rng)
            if kind == "flip" and wire.description.line.parity != "none":
                # A flip is a wrong parity: the system hands on a zero in its place.
                at = next(n for n, (a, b) in enumerate(zip(frame, spoilt, strict=True)) if a != b)
                spoilt = frame[:at] + b"\0" + frame[at + 1 :]
            frame = spoilt
            damaged += 1
        if wire.description.poll is not None:
            decoder.expect_whole()
        for got in decoder.feed(frame):
            reading = got.reading(n * 0.1)
            if reading is None:
                continue
            off = abs(reading.value - truth) > 0.11 and not reading.overload
            wrong += off or (reading.overload and 6 < n % (TOUCH + 6) < TOUCH - 3)
            for event in detector.feed(reading):
                if isinstance(event, Held):
                    holds += 1
                    wrong_holds += abs(event.value - truth) > 0.15
    return damaged, wrong, wrong_holds, holds


def try_scpi(kind: str, seed: int = 1) -> tuple[int, int, int, int]:
    """The same for answers of an instrument that is asked, each a number of one form."""
    from tests.drivers.damaged_scpi import readings_of

    rng = random.Random(seed)
    detector = HoldDetector()
    damaged = 0
    answers = []
    for n in range(FRAMES):
        touching = n % (TOUCH + 6) < TOUCH
        value = 0.842 + rng.choice((0, 0, 0.0011)) if touching else 9.9e37
        frame = f"{value:+.8E}\n".encode()
        if rng.random() < DAMAGED:
            frame = damage(kind, frame, rng)
            damaged += 1
        answers.append(frame)
    wrong = wrong_holds = holds = 0
    for n, number in readings_of(answers):
        touching = n % (TOUCH + 6) < TOUCH
        over = math.isinf(number)
        wrong += (abs(number - 0.842) > 0.11 and not over) or over == touching
        reading = Reading(n * 0.1, number, overload=over)
        for event in detector.feed(reading):
            if isinstance(event, Held):
                holds += 1
                wrong_holds += abs(event.value - 0.842) > 0.15
    return damaged, wrong, wrong_holds, holds


def main() -> None:
    titles = ("damaged", "accepted wrong", "wrong holds", "holds")
    print(f"{'format':<20}{'damage':<10}" + "{:>8}{:>16}{:>13}{:>7}".format(*titles))
    for name in [*sorted(names()), "asked (SCPI)"]:
        for kind in ("flip", "drop", "insert"):
            result = try_scpi(kind) if name.startswith("asked") else try_wire(name, kind)
            damaged, wrong, wrong_holds, holds = result
            print(f"{name:<20}{kind:<10}{damaged:>8}{wrong:>16}{wrong_holds:>13}{holds:>7}")


if __name__ == "__main__":
    main()
