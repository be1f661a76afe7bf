"""The line drawings: every place of the trade is there, and a mark is seen where it belongs."""

import pytest

from meterlink.circuit.wiring import (
    BLOCK,
    LAMINATIONS,
    PLUG_LEAD,
    PRIMARY_TERMINAL,
    STOP_WIRE,
)
from tui.drawings import draw_engine, draw_tips, size_of

NAMES = ["engine-large", "engine-small"]
PLACES = [PRIMARY_TERMINAL, LAMINATIONS, PLUG_LEAD, STOP_WIRE, BLOCK, "stop switch terminal"]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("place", PLACES)
def test_a_mark_stands_at_its_place_and_moves_nothing_else(name, place):
    bare, marked = draw_engine(name, {}), draw_engine(name, {place: "1"})
    (spot,) = (spot for spot in marked.spots if spot.place == place)
    assert spot.label == "1"
    assert marked.lines[spot.row][spot.column - 1 : spot.column + 2] == "[1]"
    for row, (a, b) in enumerate(zip(bare.lines, marked.lines, strict=True)):
        if row != spot.row:
            assert a == b
        else:
            assert a[: spot.column - 1] == b[: spot.column - 1]
            assert a[spot.column + 2 :] == b[spot.column + 2 :]


@pytest.mark.parametrize("name", NAMES)
def test_no_place_letter_is_left_in_the_picture(name):
    for lines in (draw_engine(name, {}).lines, draw_engine(name, dict.fromkeys(PLACES, "1")).lines):
        assert not any(c.isupper() for line in lines for c in line)


def test_a_place_that_looks_the_same_is_marked_there():
    drawing = draw_engine("engine-large", {"rusty laminations": "2"})
    assert any(spot.place == LAMINATIONS and spot.label == "2" for spot in drawing.spots)


def test_a_place_that_the_drawing_lacks_is_told():
    drawing = draw_engine("engine-small", {"seat switch terminal": "1", BLOCK: "2"})
    assert drawing.unplaced == (("1", "seat switch terminal"),)


def test_the_lever_is_drawn_as_asked():
    closed, opened = (
        "\n".join(draw_engine("engine-small", {}, closed=state).lines) for state in (True, False)
    )
    assert closed != opened
    assert "╱" in opened
    assert "╱" not in closed


def test_the_small_drawing_fits_the_smallest_screen():
    columns, rows = size_of("engine-small")
    assert columns <= 29
    assert rows <= 8


def test_two_tips_meet():
    assert any("1" in line and "2" in line for line in draw_tips().lines)
