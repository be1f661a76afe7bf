"""Windows as people give them: ``0.7:1.0ohm``, ``4k:7kohm``."""

from meterlink.errors import NotationError
from meterlink.quantities.notation import (
    SI_UNITS,
    Value,
    parse_quantity,
    prefix_in,
    read_number,
    takes_prefix,
    unit_named,
)
from meterlink.quantities.text import normalise, plain
from meterlink.quantities.window import Window


def parse_window(text: str, default_unit: str = "ohm") -> Window:
    """Return the window ``LOW:HIGH`` that ``text`` spells, such as ``0.7:1.0ohm`` or ``4k:7kohm``.

    A unit on one end holds for both; an end may be left out (``:2ohm``, ``1M:``). A prefix on one
    end alone is refused where the other would make sense with and without it.

    Raises:
        NotationError: says what was expected.
    """
    low_text, colon, high_text = text.partition(":")
    low_text, high_text = low_text.strip(), high_text.strip()
    if not colon or not (low_text or high_text):
        raise NotationError(
            f"“{plain(text)}” is not two limits; type LOW:HIGH, such as 0.7:1.0ohm or 4k:7kohm"
        )
    high = parse_quantity(high_text, default_unit) if high_text else None
    low = parse_quantity(low_text, default_unit) if low_text else None
    for end in (low, high):
        if end is not None and end.overload:
            raise NotationError(f"“{plain(text)}” has no such limit: leave it empty, as in 1M:")
    if low and high:
        if low.unit != high.unit:
            low, high = _share_unit(low, low_text, high, high_text, text)
        _refuse_if_ambiguous(low.value, low_text, high.value, high_text, text)
    known = high or low
    return Window(
        low.value if low else None, high.value if high else None, known.unit if known else "ohm"
    )


def _share_unit(
    low: Value, low_text: str, high: Value, high_text: str, text: str
) -> tuple[Value, Value]:
    """Give the unit written on one end to the end that has none."""
    if low.bare:
        return parse_quantity(low_text, _unit_in(high_text, high)), high
    if high.bare:
        return low, parse_quantity(high_text, _unit_in(low_text, low))
    raise NotationError(
        f"“{plain(text)}” mixes units: one limit is {SI_UNITS[low.unit]} and the other "
        f"{SI_UNITS[high.unit]}"
    )


def _unit_in(written: str, value: Value) -> str:
    """Return the unit that the other end has too: as written, but for a prefix, which may differ.

    ``0.25:0.35mm`` is millimetres on both ends; in ``0.2:0.6V`` and ``4:7mV`` the volt is shared.
    """
    read = read_number(normalise(written).strip())
    word = "" if read is None else read[2]
    return value.unit if not word or takes_prefix(unit_named(word)) else word


def _refuse_if_ambiguous(low: float, low_text: str, high: float, high_text: str, text: str) -> None:
    """``4:7k`` could mean 4 ohm or 4 kohm; a wrong window would judge wrongly in silence."""
    low_prefix, high_prefix = prefix_in(low_text), prefix_in(high_text)
    if (low_prefix is None) == (high_prefix is None):
        return
    scale = low_prefix or high_prefix or 1.0
    shared = low <= high * scale if high_prefix is None else 0 != low * scale <= high
    if scale != 1 and shared:
        raise NotationError(
            f"“{plain(text)}” can be read in two ways; write the unit on both limits, "
            "as in 4k:7kohm"
        )
