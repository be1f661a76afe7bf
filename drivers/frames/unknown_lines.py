"""An unknown format of text lines, worked out from lines and what the display showed. No I/O."""

import math
import re
from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, Final, NamedTuple

from drivers.frames.recordings import Display, Recording
from meterlink.quantities.window import OVER_WORDS, real_value

SCPI: Final = "9.9E37"
"""Stands for an overload that is a number of its own."""

_PARTS: Final = re.compile(
    r"\s*(?P<label>[A-Za-z_][A-Za-z_]*[:=]?)?(?P<gap>[ ,;\t]*)"
    r"(?:(?P<sign>[+-]?)(?P<apart> *)(?P<number>\d+(?:[.,]\d+)?(?P<exp>[eE][+-]?\d+)?)"
    r"|(?P<over>[+-]?[A-Za-z.0-]+))"
    r"(?P<rest>.*)"
)


def usual_line(recording: Recording) -> tuple[str, str] | None:
    """Return the line that came most often, and what ends it; None where it is no text."""
    data = b"".join(recording.bursts)
    if not any(end in data for end in (b"\n", b"\r")):
        return None
    end = "\r\n" if b"\r\n" in data else "\n" if b"\n" in data else "\r"
    counted = Counter(part for part in data.replace(b"\r", b"\n").split(b"\n") if part)
    try:
        text = counted.most_common(1)[0][0].decode("utf-8")
    except (UnicodeDecodeError, IndexError):
        return None
    return (text, end) if text.isprintable() else None


class _Line(NamedTuple):
    label: str
    gap: str
    sign: str
    apart: bool
    number: str
    over: str
    words: tuple[str, ...]


def solve_lines(
    lines: Sequence[str], displays: Sequence[Display]
) -> tuple[dict[str, Any], list[str]] | None:
    """Return a description's tables and what is not settled; None where the lines do not fit.

    Args:
        lines: one at each display, without its end.
        displays: what was shown.
    """
    parsed = []
    for text, display in zip(lines, displays, strict=True):
        found = _parse(text, over=display.over)
        if found is None or bool(found.over) != display.over:
            return None
        parsed.append(found)
    modes: dict[tuple[str, str], tuple[str, Decimal]] = {}
    notes: list[str] = []
    pairs = list(zip(parsed, displays, strict=True))
    # Overloads last: their size follows from a number with the same unit, where there is one.
    for line, display in sorted(pairs, key=lambda pair: pair[1].over):
        unit = line.words[0] if line.words and not _is_flag(line.words[0], pairs) else ""
        key = line.label, unit
        factor = display.factor if line.over else _factor(line, display)
        if factor is None:
            return None
        if modes.setdefault(key, (display.quantity.value, factor))[0] != display.quantity.value:
            return None
        if not line.over and modes[key][1] != factor:
            return None
    flags = _flag_words(pairs)
    if flags is None:
        return None
    if not any(display.over for display in displays):
        notes.append("No over range was shown: it is refused until one is (lift the probes).")
    return _tables(parsed, modes, flags), notes


def _parse(line: str, *, over: bool) -> _Line | None:
    text = line.strip()
    if over and (number := _scpi_over(text)):
        return number
    if over:
        tokens = [token for token in re.split(r"[ ,;\t]+", text) if token]
        over_at = [n for n, t in enumerate(tokens[:2]) if t.upper().lstrip("+-") in OVER_WORDS]
        if not over_at:
            return None
        at = over_at[0]
        gap = "," if "," in text else " "
        label = tokens[0] if at else ""
        return _Line(label, gap, "", False, "", tokens[at].lstrip("+-"), tuple(tokens[at + 1 :]))
    found = _PARTS.fullmatch(text)
    if found is None or found["number"] is None:
        return None
    words = tuple(word for word in re.split(r"[ ,;\t]+", found["rest"]) if word)
    gap = "," if "," in (found["gap"] or "") or found["rest"].startswith(",") else " "
    return _Line(
        found["label"] or "", gap, found["sign"], bool(found["apart"]), found["number"], "", words
    )


def _scpi_over(text: str) -> _Line | None:
    """Return a line whose number stands for over range, as in the SCPI standard."""
    found = _PARTS.fullmatch(text)
    if found is None or found["number"] is None:
        return None
    if not math.isinf(real_value(float(found["number"].replace(",", ".")))):
        return None
    words = tuple(word for word in re.split(r"[ ,;\t]+", found["rest"]) if word)
    return _Line(found["label"] or "", " ", found["sign"], False, "", SCPI, words)


def _is_flag(word: str, pairs: Sequence[tuple[_Line, Display]]) -> bool:
    """Whether ``word`` is no unit: some line with a unit has it farther back, or it is a state."""
    return any(word in line.words[1:] for line, _ in pairs)


def _factor(line: _Line, display: Display) -> Decimal | None:
    number = Decimal(line.number.replace(",", "."))
    shown = Decimal(display.digits).scaleb(-display.decimals) * display.factor
    if (line.sign == "-") != display.negative or not number:
        return None
    factor = shown / number
    # Lines may carry more figures than the display: the size is then a power of ten near by.
    for power in range(-12, 10):
        whole = Decimal(1).scaleb(power)
        if abs(factor / whole - 1) < Decimal("0.02"):
            return whole
    return None


def _flag_words(pairs: Sequence[tuple[_Line, Display]]) -> dict[str, str] | None:
    """Return each flag and its word; words that nobody named get a name of their own."""
    words = sorted({word for line, _ in pairs for word in line.words[1:]})
    ahead = {line.words[0] for line, _ in pairs if line.words}
    words += sorted(word for word in ahead if _is_flag(word, pairs))
    found: dict[str, str] = {}
    named = sorted(set().union(*(display.flags for _, display in pairs)))
    for word in dict.fromkeys(words):
        on = [word in line.words for line, _ in pairs]
        fits = [name for name in named if [name in display.flags for _, display in pairs] == on]
        name = fits[0] if fits else re.sub(r"[^a-z0-9]+", "_", word.lower()).strip("_") or "word"
        if name in found:
            return None
        found[name] = word
    return found


def _text(parsed: Sequence[_Line]) -> dict[str, Any]:
    numbers = [line for line in parsed if not line.over]
    exponents = [("e" in line.number.lower()) for line in numbers]
    text: dict[str, Any] = {"gap": "," if any(line.gap == "," for line in parsed) else " "}
    if all(line.sign for line in numbers):
        text["sign"] = "always"
    if any(line.apart for line in numbers):
        text["sign_apart"] = True
    if any(exponents):
        text["exponent"] = "always" if all(exponents) else "optional"
    if any("," in line.number for line in numbers):
        text["decimal"] = ","
    return text


def _tables(
    parsed: Sequence[_Line],
    modes: dict[tuple[str, str], tuple[str, Decimal]],
    flags: dict[str, str],
) -> dict[str, Any]:
    grouped: dict[tuple[str, str], dict[str, Any]] = {}
    for (label, unit), (quantity, factor) in modes.items():
        mode = grouped.setdefault((label, quantity), {"quantity": quantity})
        if label:
            mode["labels"] = [label]
        if unit:
            mode.setdefault("units", {})[unit] = float(factor)
        elif not label:
            mode["assumed"] = True
        if not unit and factor != 1:
            mode["scale"] = float(factor)
    tables: dict[str, Any] = {"text": _text(parsed), "modes": list(grouped.values())}
    if flags:
        tables["flags"] = flags
    over = sorted({line.over for line in parsed if line.over} - {SCPI})
    if any(line.over == SCPI for line in parsed):
        tables["overload"] = {"scpi": True}
    if over:
        tables["overload"] = {"words": over}
        bare = [line for line in parsed if line.over]
        if all(not line.words and not line.label for line in bare):
            tables["overload"]["bare"] = True
    return tables
