"""Speech: real programs stand in for the speech program, and write down what they were given."""

import sys
import threading
import time

import pytest

from tui.announcing.announcer import Voice, find_program

SPEAKS = "import sys; open(sys.argv[1], 'a').write(sys.stdin.read() + '\\n')"
SPEAKS_LONG = (
    "import sys, time; words = sys.stdin.read(); open(sys.argv[1], 'a').write(words + '\\n'); "
    "time.sleep(60 if words == 'long' else 0)"
)


def wait_for(path, lines):
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline:
        said = path.read_text().splitlines() if path.exists() else []
        if len(said) >= lines:
            return said
        threading.Event().wait(0.01)
    raise AssertionError(f"not said: {said}")


def test_words_reach_the_program_whole_and_as_words(tmp_path):
    heard = tmp_path / "heard"
    voice = Voice([sys.executable, "-c", SPEAKS, str(heard)])
    voice.say("--help; $(rm -rf) “0.842 ohms”")
    assert wait_for(heard, 1) == ["--help; $(rm -rf) “0.842 ohms”"]
    voice.close()


def test_the_newest_sentence_cuts_the_old_one_and_skips_what_waited(tmp_path):
    heard = tmp_path / "heard"
    voice = Voice([sys.executable, "-c", SPEAKS_LONG, str(heard)])
    voice.say("long")
    wait_for(heard, 1)
    began = time.monotonic()
    for word in ("stale", "staler", "newest"):
        voice.say(word)
    said = wait_for(heard, 2)
    while said[-1] != "newest":
        said = wait_for(heard, len(said) + 1)
    assert time.monotonic() - began < 20  # far from the minute that the long one would take
    voice.close()
    assert said[0] == "long"
    assert said[-1] == "newest"


def test_saying_returns_at_once(tmp_path):
    heard = tmp_path / "heard"
    voice = Voice([sys.executable, "-c", SPEAKS_LONG, str(heard)])
    voice.say("long")
    wait_for(heard, 1)
    began = time.monotonic()
    voice.say("more")
    assert time.monotonic() - began < 1
    voice.close()


def test_a_program_that_is_not_there_is_told_and_harms_nothing():
    voice = Voice(["/nonexistent/speech"])
    voice.say("anything")
    deadline = time.monotonic() + 10
    while not voice.trouble and time.monotonic() < deadline:
        threading.Event().wait(0.01)
    assert "cannot be started" in voice.trouble
    voice.say("again")
    voice.close()


def test_a_program_that_fails_is_told_until_it_speaks_again(tmp_path):
    heard = tmp_path / "heard"
    fails_on_bad = (
        "import sys; words = sys.stdin.read(); open(sys.argv[1], 'a').write(words + '\\n'); "
        "sys.exit(3 if words == 'bad' else 0)"
    )
    voice = Voice([sys.executable, "-c", fails_on_bad, str(heard)])
    for words, told in (("bad", True), ("good", False)):
        voice.say(words)
        deadline = time.monotonic() + 10
        while bool(voice.trouble) is not told and time.monotonic() < deadline:
            threading.Event().wait(0.01)
        assert bool(voice.trouble) is told
    voice.close()


@pytest.mark.parametrize(
    ("platform", "there", "expected"),
    [
        ("linux", {"espeak-ng"}, "espeak-ng"),
        ("linux", {"say", "espeak"}, "espeak"),
        ("darwin", {"say", "espeak"}, "say"),
        ("win32", {"powershell"}, "powershell"),
        ("linux", set(), None),
    ],
)
def test_the_systems_own_program_is_found(monkeypatch, platform, there, expected):
    monkeypatch.setattr("tui.announcing.announcer.sys.platform", platform)
    monkeypatch.setattr(
        "tui.announcing.announcer.shutil.which", lambda name: name if name in there else None
    )
    found = find_program()
    assert (found[0] if found else None) == expected
