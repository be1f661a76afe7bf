"""Lines for people on a terminal, and as they are elsewhere."""

from hypothesis import given
from hypothesis import strategies as st

from tui.announcing.signs import say, wrapped

WORDS = st.lists(st.text("abcd", min_size=1, max_size=9), min_size=1, max_size=40)


@given(WORDS, st.integers(0, 12), st.integers(40, 120))
def test_no_word_is_cut_and_none_is_lost(words, indent, columns):
    shown = wrapped(" " * indent + " ".join(words), columns)
    assert shown.split() == words
    assert all(len(row) < columns for row in shown.splitlines())


def test_what_goes_on_stands_under_its_own_column():
    rows = wrapped("  set    put a switch or a fitting into a position", 40).splitlines()
    assert rows == ["  set    put a switch or a fitting into", "         a position"]


def test_without_a_terminal_a_line_stays_whole(capsys):
    say("word " * 60)
    assert capsys.readouterr().out == "word " * 60 + "\n"
