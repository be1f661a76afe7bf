"""Results of trainees: one file each, only ever longer, whatever they are called."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from captures.training.trainees import (
    LONGEST_NAME,
    PracticeBegun,
    Practised,
    TopicCount,
    TraineeRecord,
    TraineeStore,
    Typed,
)
from meterlink.errors import CannotWriteError, InUseError, UnreadableError, UsageError


def practised(points: float = 70.0, **topics: tuple[int, int]) -> Practised:
    return Practised(
        when="2026-11-25T10:00:00.000+00:00",
        program="meterlink 0",
        order={"seed": 1, "difficulty": "easy", "fault": "", "complaint": ""},
        complaint="no-spark",
        fault="plug-bad",
        place="plug",
        found=True,
        points=points,
        of=100.0,
        minutes=30.0,
        parts=5.0,
        checks=4,
        advised=4,
        seconds=60.0,
        topics={topic: TopicCount(*count) for topic, count in topics.items()},
        say=("The fault: 40 of 40. Right.",),
    )


def begun(mark: str) -> PracticeBegun:
    return PracticeBegun(
        id=mark,
        when="2026-11-25T10:00:00.000+00:00",
        program="meterlink 0",
        order={"seed": 1, "difficulty": "easy", "fault": "", "complaint": ""},
        complaint="no-spark",
        engine="0" * 16,
    )


def keep(store: TraineeStore, name: str, *records: TraineeRecord) -> Path:
    with store.open(name) as file:
        file.append(*records)
    return file.path


names = st.text(min_size=1, max_size=LONGEST_NAME).filter(lambda name: name.split())


@given(names, names)
def test_every_name_has_a_file_of_its_own_inside_the_folder(tmp_path_factory, one, other):
    folder = tmp_path_factory.getbasetemp() / "trainees"
    store = TraineeStore(folder)
    first, second = store.path(one), store.path(other)
    assert first.parent == second.parent == folder
    assert first.name.isprintable()
    assert (first == second) == (" ".join(one.split()) == " ".join(other.split()))


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "a/b\\c", "[red]Ann[/]", "CON", "\x1b[2J", "..", "Ann\nBob", "Ω"]
)
def test_a_hostile_name_keeps_its_results_and_is_shown_harmless(tmp_path, name):
    store = TraineeStore(tmp_path / "here")
    path = keep(store, name, practised())
    assert path.parent == tmp_path / "here"
    assert [file.name for file in tmp_path.iterdir()] == ["here"]
    results = store.results(name)
    assert len(results.practised) == 1
    assert results.name.isprintable()


@pytest.mark.parametrize("name", ["", "   ", "\n", "x" * (LONGEST_NAME + 1)])
def test_what_is_no_name_is_wrong_usage(tmp_path, name):
    with pytest.raises(UsageError):
        keep(TraineeStore(tmp_path), name, practised())
    assert not list(tmp_path.iterdir())


def test_topics_add_up_over_all_practices_of_one_trainee(tmp_path):
    store = TraineeStore(tmp_path)
    keep(store, "Ann", practised(fingers=(3, 1), range=(2, 0)))
    keep(store, "Ann", practised(fingers=(2, 2)))
    keep(store, "Bob", practised(fingers=(9, 9)))
    topics = store.results("Ann").topics()
    assert topics == {"fingers": TopicCount(5, 3), "range": TopicCount(2, 0)}
    assert {results.name for results in store.all()} == {"Ann", "Bob"}


def test_practices_at_the_same_time_are_kept_apart(tmp_path):
    store = TraineeStore(tmp_path)
    for mark in ("one", "two", "three"):
        keep(store, "Ann", begun(mark))
    for mark, line in (("one", "look"), ("two", "tips"), ("one", "air"), ("lost", "lift")):
        keep(store, "Ann", Typed(begun=mark, line=line, minutes=1, checks=0, seconds=2))
    keep(store, "Ann", replace(practised(), begun="two"))
    results = store.results("Ann")
    assert [u.begun.id for u in results.unfinished] == ["one", "three"]
    assert [typed.line for typed in results.unfinished[0].typed] == ["look", "air"]
    assert results.unfinished[1].typed == ()
    assert len(results.practised) == 1
    assert not results.damage


@pytest.mark.parametrize(
    "damage",
    [
        b"not json\n",
        b"\xff\xfe\xfd\n",
        b'{"kind":"practice"}\n',
        b'{"kind":"other"}\n',
        b"\n",
        b"x" * 200_000 + b"\n",
    ],
)
def test_a_damaged_line_is_named_and_the_rest_is_read(tmp_path, damage):
    store = TraineeStore(tmp_path)
    path = keep(store, "Ann", practised(1.0))
    with path.open("ab") as file:
        file.write(damage)
    keep(store, "Ann", practised(2.0))
    results = store.results("Ann")
    assert [practice.points for practice in results.practised] == [1.0, 2.0]
    assert results.damage
    assert all("line" in said and "\n" not in said for said in results.damage)


@given(st.data())
def test_cut_anywhere_it_is_read_up_to_there_and_goes_on_in_a_line_of_its_own(
    tmp_path_factory, data
):
    store = TraineeStore(tmp_path_factory.mktemp("cut"))
    path = keep(store, "Ann", practised(1.0))
    keep(store, "Ann", practised(2.0))
    whole = path.read_bytes()
    first_two = whole.index(b"\n", whole.index(b"\n") + 1) + 1
    path.write_bytes(whole[: data.draw(st.integers(first_two, len(whole) - 1))])
    keep(store, "Ann", practised(3.0))
    points = [practice.points for practice in store.results("Ann").practised]
    # The cut may have taken the line's end alone: then the line itself is whole.
    assert points in ([1.0, 3.0], [1.0, 2.0, 3.0])


def test_a_file_is_plain_json_lines_whose_first_says_whose_it_is(tmp_path):
    path = keep(TraineeStore(tmp_path), "Ann", practised())
    first, second = map(json.loads, path.read_text(encoding="utf-8").splitlines())
    assert first == {"kind": "trainee", "format": 1, "name": "Ann"}
    assert second["kind"] == "practice"
    assert second["place"] == "plug"


def test_an_unknown_trainee_is_told_who_is_known(tmp_path):
    store = TraineeStore(tmp_path)
    keep(store, "Ann", practised())
    with pytest.raises(UnreadableError, match=r"no results of “Bob”.*there are Ann"):
        store.results("Bob")


def test_a_file_is_written_by_one_practice_at_a_time(tmp_path):
    store = TraineeStore(tmp_path)
    with store.open("Ann") as file:
        with pytest.raises(InUseError, match=r"“Ann” is practising in another terminal"):
            store.open(" Ann ")
        keep(store, "Bob", practised())
        file.append(practised())
        assert len(store.results("Ann").practised) == 1  # whoever only looks is not kept out
    keep(store, "Ann", practised())
    assert len(store.results("Ann").practised) == 2


def test_a_file_that_a_crash_left_empty_says_whose_it_is_all_the_same(tmp_path):
    store = TraineeStore(tmp_path)
    store.path("Ann").write_bytes(b"")
    keep(store, "Ann", practised())
    assert store.results("Ann").name == "Ann"


def test_whoever_has_to_be_known_gets_no_file(tmp_path):
    with pytest.raises(UnreadableError, match=r"no results of “Bob”.*nobody's yet"):
        TraineeStore(tmp_path).open("Bob", known=True)
    assert not list(tmp_path.iterdir())


def test_a_folder_that_cannot_be_made_loses_nothing_and_names_the_mend(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(CannotWriteError, match="--trainees"):
        keep(TraineeStore(tmp_path / "file"), "Ann", practised())
    assert (tmp_path / "file").read_text() == "in the way"
