"""An instrument's settings: set for a step, read back, and put back as they were found.

Instruments differ in how much of the standard they know. What is refused shows in the error
queue; then the next simpler form is tried, and what could not be had is said in plain words.
"""

import math
from typing import Final, NamedTuple

import msgspec

from drivers.scpi.answers import (
    AnswerFormError,
    answer_text,
    parse_answer,
    parse_measured,
    parse_number,
)
from drivers.scpi.conversation import Conversation
from drivers.scpi.dialect import Dialect, ScpiOptions
from drivers.scpi.status import (
    FOUR_WIRE,
    INTEGRATED,
    RANGED,
    Refusal,
    function_name,
    is_on,
    nodes_for,
    quantity_named,
)
from meterlink.errors import MeterError
from meterlink.meter_state import told_flags
from meterlink.quantities.text import plain
from meterlink.reading import Quantity
from meterlink.source import MeterSetup, Setting

_SELECT: Final = ('{sense}FUNC "{node}"', "CONF:{node}")
"""How a function is chosen, the way that leaves most other settings alone first."""


MEASURE_S: Final = 5.0
"""How long one measurement may take with autoranging and settling, seconds, above twice the
integration time."""


class Chosen(NamedTuple):
    """What the panel was set to."""

    node: str
    """The function, as SCPI spells it."""
    measure_only: bool
    """The meter knows no way to choose a function but to measure with it."""
    setting: Setting


class Panel:
    """The settings of one instrument."""

    def __init__(
        self, talk: Conversation, options: ScpiOptions, dialect: Dialect | None = None
    ) -> None:
        self._talk = talk
        self._options = options
        self._dialect = dialect or Dialect()
        self._asks: dict[str, str] = {}
        """Query and what it was answered when the instrument had just been set."""
        self._states: dict[str, str] = {}
        """Query of something that can be on, and the flag that it then stands for."""
        self._sense = ""
        self._knows_function = False
        self._unknown: set[str] = set()
        self._found: dict[str, str] = {}
        self._fixed = False
        """Whether the range was fixed from here."""

    @property
    def tells_function(self) -> bool:
        """Whether this instrument said what it measures; known after ``look``."""
        return "FUNC" in self._found

    def look(self) -> None:
        """Note what the instrument is set to, before anything is changed."""
        for command in self._dialect.first:
            self._talk.tell(command)
        for sense in ("", "SENS:"):
            answer = self._ask(f"{sense}FUNC?")
            if answer:
                self._sense, self._knows_function = sense, True
                self._found["FUNC"] = f'{sense}FUNC "{function_name(answer)}"'
                return
        answer = self._ask("CONF?")
        if answer:
            self._found["FUNC"] = f"CONF:{function_name(answer)}"

    def set_for(self, setup: MeterSetup) -> Chosen:
        """Set what ``setup`` asks for, as far as the instrument goes along.

        Raises:
            MeterError: it refuses the quantity itself.
        """
        lost: list[str] = []
        if not self._dialect.sets:
            self._note_standing(nodes_for(setup)[0])
            return Chosen(nodes_for(setup)[0], False, self._as_it_stands(setup))
        node, measure_only = self._choose_function(setup, lost)
        full_scale = self._choose_range(node, setup.expected, measure_only, lost)
        integration_s = None if measure_only else self._choose_integration(node, lost)
        # A meter that ranges itself has as many last digits as ranges: one answer would be wrong.
        fixed = full_scale is not None and not measure_only
        setting = Setting(
            quantity=setup.quantity,
            range=full_scale,
            four_wire=node == FOUR_WIRE,
            integration_s=integration_s,
            resolution=self._number(f"{self._sense}{node}:RES?") if fixed else None,
            lost=tuple(lost),
        )
        self._note_standing(node)
        setting = msgspec.structs.replace(
            setting, flags=self._flags(), cautions=self._cautions(measure_only=measure_only)
        )
        return Chosen(node, measure_only, setting)

    def confirm(self, was: Setting) -> Setting:
        """Return what the instrument says that it is set to now; ``was``: when it had been set.

        Raises:
            MeterError: it does not answer, or measures what has no name here.
        """
        quantity, full_scale, resolution = was.quantity, was.range, was.resolution
        more: tuple[str, ...] = ()
        for query, before in self._asks.items():
            answer = self._again(query)
            if answer == before:
                continue
            if query.endswith("FUNC?") or query == "CONF?":
                quantity, more = self._function_now(answer)
            elif query.endswith(":AUTO?") and is_on(answer):
                full_scale = resolution = None
            elif query.endswith(":RANG?") and full_scale is not None:
                full_scale, resolution = _as_number(answer), None
        return msgspec.structs.replace(
            was,
            quantity=quantity,
            range=full_scale,
            resolution=resolution,
            flags=(*self._flags(), *more),
        )

    def _function_now(self, answer: str) -> tuple[Quantity, tuple[str, ...]]:
        found = quantity_named(answer)
        if found is None:
            raise MeterError(
                f"the meter at {self._talk.name} was turned to “{plain(answer, 40)}”; turn it back "
                "to resistance and touch again"
            )
        return found

    def _again(self, query: str) -> str:
        """Ask what is known to be answered; a damaged answer is asked for once more."""
        for _ in range(2):
            try:
                answer = self._talk.ask(query)
                if answer is not None:
                    return answer_text(answer)
            except AnswerFormError:
                pass
            self._talk.back_into_step()
        raise MeterError(
            f"the meter at {self._talk.name} did not answer when it was asked what it is set to; "
            "touch again"
        )

    def _note_standing(self, node: str) -> None:
        """Note how the instrument answers now that it is set, to compare with later."""
        self._asks.clear()
        self._states.clear()
        for query in (f"{self._sense}FUNC?", "CONF?"):
            answer = self._ask(query)
            if answer:
                self._asks[query] = answer
                break
        if node in RANGED and self._knows_function:
            for query in (f"{self._sense}{node}:RANG?", f"{self._sense}{node}:RANG:AUTO?"):
                answer = self._ask(query)
                if answer and (query.endswith("AUTO?") or self._fixed):
                    self._asks[query] = answer
        states = dict(self._dialect.states)
        if self._talk.tells_errors:
            # Where silence is the answer to what is not known, each would cost the whole wait.
            states = {
                f"{self._sense}{node}:REF:STAT?": "relative",
                "CALC:STAT?": "computed",
                **states,
            }
        self._states = {query: flag for query, flag in states.items() if self._ask(query)}

    def _flags(self) -> tuple[str, ...]:
        return told_flags(flag for query, flag in self._states.items() if is_on(self._again(query)))

    def _cautions(self, *, measure_only: bool = False) -> tuple[str, ...]:
        """What cannot be asked before a value counts, in one sentence."""
        untold = [] if self._asks else ["what it measures"]
        if measure_only:
            untold = []  # each reading names its function itself
        if "relative" not in self._states.values():
            untold.append("whether relative mode is on")
        if not untold:
            return ()
        return (f"The meter cannot be asked {' and '.join(untold)}; watch its display.",)

    def _as_it_stands(self, setup: MeterSetup) -> Setting:
        """The setting of an instrument that is set on its panel alone."""
        quantity: Quantity | None = None
        more: tuple[str, ...] = ()
        for query, answer in self._asks.items():
            if query.endswith("FUNC?") or query == "CONF?":
                quantity, more = self._function_now(answer)
        wanted = setup.quantity
        lost = () if quantity in (None, wanted) else (f"turn the meter to {wanted.value}",)
        return Setting(
            quantity=quantity,
            lost=lost,
            flags=(*self._flags(), *more),
            cautions=self._cautions(),
        )

    def try_set(self, header: str, value: str) -> Refusal | None:
        """Set one thing after noting what it was; return the refusal, or None."""
        self._note(header)
        return self._talk.refusal_of(f"{header} {value}")

    def put_back(self) -> None:
        """Set everything as it was found, the function last, and hand the panel back."""
        for command in reversed(self._found.values()):
            self._talk.tell(command)
        self._found.clear()
        self._talk.refusals()  # its answer says that all of that is done
        self._talk.tell("SYST:LOC")

    def _choose_function(self, setup: MeterSetup, lost: list[str]) -> tuple[str, bool]:
        refusal: Refusal | None = None
        for node in nodes_for(setup):
            self._note_settings(node)
            refusal = self._select(node)
            if refusal is None:
                return node, False
            if self._measures(node):
                lost.append("the meter only knows MEASure, so each reading takes longer")
                return node, True
            if node == FOUR_WIRE:
                lost.append(
                    f"four-wire resistance: {refusal}; the leads count, so take a lead zero"
                )
        raise MeterError(
            f"the meter at {self._talk.name} cannot measure {setup.quantity.value}: {refusal}"
        )

    def _select(self, node: str) -> Refusal | None:
        """Choose the function ``node``; on a refusal also after asking for remote control."""
        first: Refusal | None = None
        for attempt in range(2):
            for way in _SELECT:
                refusal = self._talk.refusal_of(way.format(sense=self._sense, node=node))
                if refusal is None:
                    return None
                first = first or refusal
            # Some serial instruments take settings only once they are told to be remote.
            if attempt or self._talk.refusal_of("SYST:REM") is not None:
                break
        return first

    def _measures(self, node: str) -> bool:
        answer = self._talk.ask_known(f"MEAS:{node}?", MEASURE_S)
        try:
            if answer is None:
                return False
            parse_measured(parse_answer(answer)[0])
        except AnswerFormError:
            return False
        return True

    def _choose_range(
        self, node: str, expected: float | None, measure_only: bool, lost: list[str]
    ) -> float | None:
        """Ask for the smallest range that holds ``expected``, which is what RANGe does."""
        self._fixed = False
        if node not in RANGED or measure_only:
            return None
        header = f"{self._sense}{node}:RANG"
        if expected is not None:
            refusal = self._talk.refusal_of(f"{header} {expected:.6G}")
            if refusal is None:
                full_scale = self._number(f"{header}?")
                if full_scale is None or full_scale >= expected * 0.999:
                    self._fixed = full_scale is not None
                    return full_scale
            lost.append("range: the meter does not take one for this value and chooses its own")
        self._talk.refusal_of(f"{header}:AUTO ON")
        return None

    def _choose_integration(self, node: str, lost: list[str]) -> float | None:
        if node not in INTEGRATED:
            return None
        nplc, hertz = self._options.nplc, self._line_frequency()
        refusal = self._talk.refusal_of(f"{self._sense}{node}:NPLC {nplc:g}")
        if refusal is None:
            return (self._number(f"{self._sense}{node}:NPLC?") or nplc) / hertz
        aperture = f"{self._sense}{node}:APER"
        if self._talk.refusal_of(f"{aperture} {nplc / hertz:.4g}") is None:
            return self._number(f"{aperture}?") or nplc / hertz
        lost.append(f"integration time: {refusal}; the meter keeps its own")
        return None

    def _line_frequency(self) -> float:
        told = self._number("SYST:LFR?")
        return told if told is not None and 40 <= told <= 70 else self._options.line_hz

    def _note_settings(self, node: str) -> None:
        """Note a function's settings before the first change, as choosing it may reset them."""
        if not self._knows_function:
            return
        if node in RANGED:
            automatic = self._ask(f"{self._sense}{node}:RANG:AUTO?")
            if automatic is None:
                return  # a function without its settings, or one that is not there at all
            if is_on(automatic):
                # Going back to automatic is enough; the range then is the meter's own choice.
                header = f"{self._sense}{node}:RANG"
                self._found.setdefault(header, f"{header}:AUTO ON")
            self._note(f"{self._sense}{node}:RANG")
        if node in INTEGRATED:
            self._note(f"{self._sense}{node}:NPLC")

    def _note(self, header: str) -> None:
        if header in self._found or not self._knows_function:
            return
        answer = self._ask(f"{header}?")
        if answer:
            self._found[header] = f"{header} {answer}"

    def _ask(self, query: str) -> str | None:
        """Ask what may be unknown, and do not ask again what proved to be."""
        if query in self._unknown:
            return None
        answer = self._talk.ask_text(query)
        if answer is None:
            self._unknown.add(query)
        return answer

    def _number(self, query: str) -> float | None:
        answer = self._ask(query)
        return None if answer is None else _as_number(answer)


def _as_number(answer: str) -> float | None:
    """A setting's value: positive and finite, or None."""
    try:
        value = parse_number(answer)
    except AnswerFormError:
        return None
    return value if 0 < value < math.inf else None
