"""What an unknown frame says beside its digits: sign, flags, over range, function and range."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from drivers.frames.recordings import Display

Frames = Sequence[bytes]


class FormatSolution(NamedTuple):
    """A description's tables, and what is not settled."""

    tables: dict[str, Any]
    notes: tuple[str, ...]


class FoundDigits(NamedTuple):
    """Where the digits were found."""

    table: dict[str, Any]
    """``[digits]`` or ``[count]``."""
    mask: int
    """Their bits in the frame as one number."""
    shown: tuple[str, ...]
    """What they show at each display."""
    signed: bool = False


def explain(
    frames: Frames,
    displays: Sequence[Display],
    digits: FoundDigits,
    taken: int,
) -> FormatSolution | None:
    """Return a description of ``frames`` by ``digits``; None where a display is not told.

    ``taken``: the bits of a frame, as one number, that are a checksum's or tell its length.
    """
    return _Status(frames, displays, digits, taken).solution()


class _Status:
    """One attempt."""

    def __init__(
        self,
        frames: Frames,
        displays: Sequence[Display],
        digits: FoundDigits,
        taken: int,
    ) -> None:
        self.frames, self.displays, self.digits = frames, displays, digits
        self.length = len(frames[0])
        self.numbers = [int.from_bytes(frame) for frame in frames]
        self.taken = digits.mask | taken
        self.notes: list[str] = []
        self.tables: dict[str, Any] = {}
        self.flags: dict[str, str] = {}

    def solution(self) -> FormatSolution | None:
        if not (self._sign() and self._flags() and self._overload() and self._modes()):
            return None
        self._rest()
        return FormatSolution(self.tables, tuple(self.notes))

    def _sign(self) -> bool:
        negative = [display.negative for display in self.displays]
        if self.digits.signed:
            return True
        if not any(negative):
            self.notes.append(
                "No negative value was shown: a minus is refused until one is. Show a voltage with "
                "the probes swapped."
            )
            return True
        for at in range(self.length):
            values = {n: {f[at] for f, m in self._with(negative) if m is n} for n in (True, False)}
            free = not self.taken >> 8 * (self.length - 1 - at) & 0xFF
            if free and values[True] == {0x2D} and len(values[False]) <= 1:
                plus = chr(next(iter(values[False]), 0x2B))
                self.tables["sign"] = {"at": at, "minus": "-", "plus": plus}
                self.taken |= 0xFF << 8 * (self.length - 1 - at)
                return True
        bit = self._bit_like(negative)
        if bit is None:
            return False
        self._claim("minus", bit)
        self.tables["sign"] = {"flag": "minus"}
        return True

    def _with(self, row: list[bool]) -> list[tuple[bytes, bool]]:
        return list(zip(self.frames, row, strict=True))

    def _bit_like(self, row: list[bool]) -> int | None:
        """Return the one bit that is set where ``row`` says so; the first of several."""
        fits = [
            bit
            for bit in range(8 * self.length)
            if not self.taken >> bit & 1
            and all(bool(n >> bit & 1) is on for n, on in zip(self.numbers, row, strict=True))
        ]
        return fits[-1] if fits else None

    def _claim(self, name: str, bit: int) -> None:
        self.flags[name] = f"{self.length - 1 - bit // 8}.{bit % 8}"
        self.taken |= 1 << bit

    def _flags(self) -> bool:
        names = sorted(set().union(*(display.flags for display in self.displays)))
        for name in names:
            row = [name in display.flags for display in self.displays]
            if all(row):
                self.notes.append(f"Every display showed {name}: show one without it.")
                continue
            bit = self._bit_like(row)
            if bit is None:
                self.notes.append(f"Nothing in the frames goes with {name}.")
            else:
                self._claim(name, bit)
        return True

    def _overload(self) -> bool:
        over = [display.over for display in self.displays]
        if not any(over):
            self.notes.append(
                "No over range was shown: it is refused until one is (lift the probes)."
            )
            return True
        shown = {text for text, o in zip(self.digits.shown, over, strict=True) if o}
        usual = {text for text, o in zip(self.digits.shown, over, strict=True) if not o}
        if "at" in self.digits.table and "coding" not in self.digits.table:
            bit = self._bit_like(over)
            if bit is not None:
                self._claim("over", bit)
                self.tables["overload"] = {"flag": "over"}
                return True
            unsigned = sorted({int(text) for text in shown})
            self.tables["overload"] = {"counts": unsigned}
            return not shown & usual
        # A lone 1 at the left is no number, as blanks are on its right; “ 12” is one.
        if not shown & usual and not any(t.strip().isdigit() and t[-1] != " " for t in shown):
            self.tables["overload"] = {"shown": sorted(shown)}
            return True
        bit = self._bit_like(over)
        if bit is None:
            return False
        self._claim("over", bit)
        self.tables["overload"] = {"flag": "over"}
        return True

    def _modes(self) -> bool:
        """Take everything that goes with unit and range alone for the code of both."""
        codes = [
            nibble
            for nibble in range(2 * self.length)
            if not self.taken >> self._shift(nibble) & 0xF
            and self._tells(0xF << self._shift(nibble))
        ]
        bits = [
            bit
            for bit in range(8 * self.length)
            if not self.taken >> bit & 1
            and self.taken >> bit // 4 * 4 & 0xF  # half of it is something else
            and self._tells(1 << bit)
        ]
        for bit in bits:
            self._claim(f"range_{self.length - 1 - bit // 8}_{bit % 8}", bit)
        told: dict[tuple[str, tuple[str, ...]], tuple[str, Decimal | None, Decimal]] = {}
        for number, display in zip(self.numbers, self.displays, strict=True):
            key = self._code(number, codes), self._bits(number, bits)
            before, state = told.get(key), display.state
            if before is not None and before[:2] != state and None not in (before[1], state[1]):
                return False  # two ranges look alike
            if before is None or before[1] is None:
                told[key] = (*state, display.factor)
        self.tables["modes"] = [
            self._mode(code, names, *state) for (code, names), state in told.items()
        ]
        if codes:
            places = [f"{n // 2}.{'low' if n % 2 else 'high'}" for n in codes]
            self.tables["function"] = {"at": places if len(places) > 1 else places[0]}
            for nibble in codes:
                self.taken |= 0xF << self._shift(nibble)
        states = [display.state for display in self.displays if not display.over]
        if len(set(states)) == len(states):
            self.notes.append(
                "No two displays were on the same range, so what goes with the value and what with "
                "the range cannot be told apart. Show another value on one of them."
            )
        return True

    def _shift(self, nibble: int) -> int:
        return 4 * (2 * self.length - 1 - nibble)

    def _tells(self, mask: int) -> bool:
        """Whether the bits of ``mask`` are alike at displays of one state, and differ somewhere."""
        by_state: dict[object, set[int]] = {}
        for number, display in zip(self.numbers, self.displays, strict=True):
            by_state.setdefault(display.state, set()).add(number & mask)
        alike = all(len(values) == 1 for values in by_state.values())
        return alike and len(set().union(*by_state.values())) > 1

    def _code(self, number: int, codes: list[int]) -> str:
        return " ".join(f"{number >> self._shift(nibble) & 0xF:X}" for nibble in codes)

    def _bits(self, number: int, bits: list[int]) -> tuple[str, ...]:
        return tuple(
            f"range_{self.length - 1 - bit // 8}_{bit % 8}" for bit in bits if number >> bit & 1
        )

    def _mode(
        self,
        code: str,
        names: tuple[str, ...],
        quantity: str,
        resolution: Decimal | None,
        factor: Decimal,
    ) -> dict[str, Any]:
        """A mode; of a range of which only the overload was shown, every number is refused."""
        scale = resolution if resolution is not None else factor.scaleb(-3)
        mode: dict[str, Any] = {"quantity": quantity, "scale": float(scale)}
        if code:
            mode["function"] = code
        if names:
            mode["flags"] = list(names)
        if resolution is None:
            mode |= {"knob": "over range alone", "largest": 1}
            self.notes.append(
                f"Of the range that reads over range in {quantity} no value was shown, so values "
                "on it are refused. Show one."
            )
        return mode

    def _rest(self) -> None:
        """What never changed is a mark; what is left is not looked at."""
        same, first = (1 << 8 * self.length) - 1, self.numbers[0]
        for number in self.numbers:
            same &= ~(number ^ first)
        same &= ~self.taken
        if same:
            self.tables["frame"] = {
                "marks": [
                    {
                        "at": 0,
                        "hex": (first & same).to_bytes(self.length).hex(" ").upper(),
                        "mask": same.to_bytes(self.length).hex(" ").upper(),
                    }
                ]
            }
        count = "coding" not in self.digits.table
        self.tables["count" if count else "digits"] = self.digits.table
        if self.flags:
            self.tables["flags"] = self.flags
