"""Recordings of a simulated meter with what its display would show, for formats to be learnt."""

import math
import random

from drivers.frames.frame_format import FrameFormat
from drivers.frames.recordings import Recording
from meterlink.reading import Quantity

PREFIXES = {-12: "p", -9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M"}
NAMES = {"ohm": "ohm", "volt": "V", "ampere": "A", "farad": "F", "hertz": "Hz", "celsius": "C"}


def shown(value, resolution, unit):
    """A value as a display writes it: prefix, and digits down to ``resolution``."""
    power = 0
    if unit != "celsius":
        while (abs(value) >= 1000 * 10.0**power and power < 6) or resolution >= 10 * 10.0**power:
            power += 3
    scale = 10.0**power
    decimals = max(0, round(-math.log10(resolution / scale)))
    return f"{value / scale:.{decimals}f} {PREFIXES[power]}{NAMES[unit]}"


def record(wire: FrameFormat, value, scale, *, flags=(), cut=False, rng=None, text=None, sent=None):
    """One display and what comes meanwhile; ``cut``: in one piece that begins anywhere.

    ``sent``: makes what really comes of the encoder's frame.
    """
    data = wire.encoder().frame(value, scale=scale, flags=flags)
    data = data if sent is None else sent(data)
    bursts = (data,) * 6
    if cut:
        whole = data * 6
        bursts = (whole[rng.randrange(len(data)) :],)
    if text is None:
        resolution = float(scale.resolution)
        unit = Quantity(wire.description.modes[scale.mode].quantity).unit
        if math.isinf(value):
            step = shown(float(scale.resolution) * 100, resolution, unit)
            text = f"OL {step.split()[1]}"
        else:
            text = shown(value, resolution, unit)
    return Recording(" ".join([text, *flags]), bursts)


def ohm_scales(wire):
    number = next(
        n for n, mode in enumerate(wire.description.modes) if mode.quantity == "resistance"
    )
    return wire.encoder().scales(number)


def session(wire: FrameFormat, seed=1, *, cut=False, sent=None):
    """Six displays of resistance: two on one range, others on another, and an overload."""
    rng = random.Random(seed)
    scales = [s for s in ohm_scales(wire) if s.largest > 100]
    first, second = scales[0], scales[min(len(scales) - 1, 2)]
    made = []
    for scale, shares in ((first, (0.77, 0.3461, 0.125)), (second, (0.6893, 0.2547))):
        for share in shares:
            count = max(123, int(share * min(scale.largest, 99999)))
            value = float(scale.resolution * count)
            made.append(record(wire, value, scale, cut=cut, rng=rng, sent=sent))
    made.append(record(wire, math.inf, second, cut=cut, rng=rng, sent=sent))
    return made
