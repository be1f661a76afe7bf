"""The answers of an instrument, damaged on the way, read as the driver reads them."""

import math
from collections.abc import Iterator, Sequence

from drivers.number_shape import NumberShapes
from drivers.scpi.answers import AnswerDecoder, AnswerFormError, MeasuredAnswer
from drivers.scpi.dialect import Answer, Readout, read_answer

_WAY = Readout("READ?", "", 1, 5.0)


def readings_of(answers: Sequence[bytes]) -> Iterator[tuple[int, float]]:
    """Yield number and value of each answer that is taken for a reading."""
    shapes = NumberShapes()
    for n, answer in enumerate(answers):
        decoder = AnswerDecoder()  # each answer to a query of its own
        try:
            for got in decoder.feed(answer)[:1]:
                (number,) = read_answer(got, _WAY, Answer())
                if _fits(shapes, number):
                    yield n, number.value
        except AnswerFormError:
            continue


def _fits(shapes: NumberShapes, number: MeasuredAnswer) -> bool:
    finite = number.plain_number and math.isfinite(number.value)
    return not finite or shapes.fits(number.text)
