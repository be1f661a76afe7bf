"""Windows as people give them: ``0.7:1.0ohm``, ``4k:7kohm``."""

from meterlink.errors import NotationError
from meterlink.quantities.notation import NUMBER, SI_UNITS, Value, parse_quantity
from meterlink.quantities.text import normalise, plain
from meterlink.quantities.window import Window


def parse_window(text: str, default_unit: str = "ohm") -> Window:
    """Return the window ``LOW:HIGH`` that ``text`` spells, such as ``0.7:1.0ohm`` or ``4k:7kohm``.

    A unit on one end holds for both; an end may be left out (``:2ohm``, ``1M:``). A prefix on the
    high end alone is refused where the low end would make sense with and without it.

    Raises:
        NotationError: says what was expected.
    """
    low_text, colon, high_text = text.partition(":")
    low_text, high_text = low_text.strip(), high_text.strip()
    if not colon or not (low_text or high_text):
        raise NotationError(
            f"«{plain(text)}» is no window; expected LOW:HIGH such as 0.7:1.0ohm or 4k:7kohm"
        )
    high = parse_quantity(high_text, default_unit) if high_text else None
    low = parse_quantity(low_text, default_unit) if low_text else None
    for end in (low, high):
        if end is not None and end.overload:
            raise NotationError(f"«{plain(text)}» is no window: leave an open end empty, as in 1M:")
    if low and high and low.unit != high.unit:
        low, high = _share_unit(low, low_text, high, high_text, text)
    if low and high and low.bare and not high.bare:
        _refuse_if_ambiguous(low.value, high_text, high.value, text)
    known = high or low
    return Window(
        low.value if low else None, high.value if high else None, known.unit if known else "ohm"
    )


def _share_unit(
    low: Value, low_text: str, high: Value, high_text: str, text: str
) -> tuple[Value, Value]:
    """Give the unit written on one end to the end that has none."""
    if low.bare:
        return parse_quantity(low_text, high.unit), high
    if high.bare:
        return low, parse_quantity(high_text, low.unit)
    raise NotationError(
        f"«{plain(text)}» is no window: one end is {SI_UNITS[low.unit]} and the other "
        f"{SI_UNITS[high.unit]}"
    )


def _refuse_if_ambiguous(low: float, high_text: str, high: float, text: str) -> None:
    """``4:7kohm`` could mean 4 ohm or 4 kohm; a wrong window would judge wrongly in silence."""
    match = NUMBER.match(normalise(high_text))
    if match is None or low == 0:
        return
    scale = high / float(match[0]) if float(match[0]) else 1.0
    if scale > 1 and low * scale <= high:
        raise NotationError(
            f"«{plain(text)}» could be read in two ways; write the prefix or unit on both ends, "
            "as in 4k:7kohm"
        )
