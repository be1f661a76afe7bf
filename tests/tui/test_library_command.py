"""``meterlink library`` as a user and a maintainer run it."""

import json
import shutil
from pathlib import Path

import pytest

from captures.record.comparison import ROUNDING
from captures.record.reader import read_capture
from captures.training.catalogue import CATALOGUE, SHIPPED, read_catalogue
from tui.cli import main


@pytest.fixture(autouse=True)
def own(tmp_path, monkeypatch) -> Path:
    folder = tmp_path / "own"
    monkeypatch.setattr("captures.training.catalogue.own_folder", lambda: folder)
    return folder


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("library")
    assert main(["library", "make", str(folder)]) == 0
    return folder


def almost(one: object, other: object) -> bool:
    """Whether two records are equal but for how a processor rounds."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(almost(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(almost, one, other))
    if isinstance(one, float) and isinstance(other, float):
        return one == pytest.approx(other, rel=ROUNDING, abs=1e-12)
    return one == other


@pytest.mark.parametrize("name", [shelved.exercise.id for shelved in read_catalogue(SHIPPED)])
def test_what_ships_is_what_the_script_makes(made, name):
    """Where this fails the simulated bench or the engine was changed on purpose: run
    ``meterlink library make captures/library`` and look at what became of the captures.
    """
    shipped, fresh = SHIPPED / f"{name}.jsonl", made / f"{name}.jsonl"
    if shipped.read_bytes() == fresh.read_bytes():
        return
    # Another kind of processor or mathematics library may round the last digit in another way.
    pairs = zip(
        shipped.read_text("utf-8").splitlines(), fresh.read_text("utf-8").splitlines(), strict=True
    )
    for line, (was, now) in enumerate(pairs, start=1):
        one, other = json.loads(was), json.loads(now)
        assert one["kind"] == other["kind"], line
        assert one["kind"] == "seal" or almost(one, other), line


def test_catalogue_and_notes_go_along(made):
    for path in [SHIPPED / CATALOGUE, *SHIPPED.glob("*.notes.toml")]:
        assert (made / path.name).read_bytes() == path.read_bytes()


def test_the_same_seed_makes_the_same_bytes_and_another_seed_other_readings(made, tmp_path):
    from msgspec.structs import replace

    from tui.commands.library import make_capture

    exercise = read_catalogue(SHIPPED)[0].exercise
    again, other = tmp_path / "again.jsonl", tmp_path / "other.jsonl"
    make_capture(exercise.made, again)
    make_capture(replace(exercise.made, seed=99), other)
    assert again.read_bytes() == (made / f"{exercise.id}.jsonl").read_bytes()
    with read_capture(again) as one, read_capture(other) as two:
        assert list(one) != list(two)


def test_a_library_of_another_seed_is_a_library_of_its_own(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("captures.training.catalogue.SHIPPED", _two_exercises(tmp_path / "two"))
    assert main(["library", "make", str(tmp_path / "class"), "--seed", "7"]) == 0
    shelf = read_catalogue(tmp_path / "class")
    assert [shelved.exercise.made.seed for shelved in shelf] == [7, 7]
    for shelved in shelf:
        with read_capture(shelved.capture) as capture:
            assert capture.header.settings["seed"] == 7


def test_the_list_names_every_exercise_without_giving_it_away(capsys):
    assert main(["library", "--json"]) == 0
    listed = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [entry["id"] for entry in listed] == [s.exercise.id for s in read_catalogue(SHIPPED)]
    assert all("goal" in entry and "expect" not in entry for entry in listed)
    assert main(["library", "list"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(listed)


@pytest.mark.parametrize(
    "damage", [b"format = 1\n[[exercise]]\nid = 'x'\n", b"format = 7\n", b"\xff\xfe no text"]
)
def test_a_damaged_catalogue_is_named_and_takes_no_other_with_it(own, capsys, damage):
    _two_exercises(own / "b-class", prefix="ours-")
    damaged = _two_exercises(own / "a-class") / CATALOGUE
    damaged.write_bytes(damage)
    assert main(["library", "list", "--json"]) == 1
    told = capsys.readouterr()
    listed = [json.loads(line)["id"] for line in told.out.splitlines()]
    shipped = [s.exercise.id for s in read_catalogue(SHIPPED)]
    assert listed == ["ours-dropped-on-the-quay", "ours-weak-and-hard-to-start", *shipped]
    assert str(damaged) in told.err
    assert told.err.endswith("; everything else is shown\n")
    assert told.err.count("\n") == 1
    # Nor does it stand in the way of one exercise that is asked for by its name.
    assert main(["library", "show", "ours-dropped-on-the-quay"]) == 0
    assert main(["replay", "dropped-on-the-quay", "--check"]) == 0


def test_a_folder_of_own_exercises_that_cannot_be_read_is_said_behind_the_others(own, capsys):
    own.write_text("no folder")
    assert main(["library"]) == 4
    told = capsys.readouterr()
    assert len(told.out.splitlines()) == len(read_catalogue(SHIPPED))
    assert f"{own} cannot be read" in told.err


def test_whoever_checks_all_is_told_of_a_damaged_catalogue_too(own, capsys, monkeypatch):
    monkeypatch.setattr(
        "captures.training.catalogue.SHIPPED", _two_exercises(own.parent / "shipped")
    )
    (own / "a-class").mkdir(parents=True)
    (own / "a-class" / CATALOGUE).write_text("format = 7\n", encoding="utf-8")
    assert main(["library", "check"]) == 1
    told = capsys.readouterr()
    assert told.out.count("as it should be") == 2
    assert str(own / "a-class" / CATALOGUE) in told.err


def test_one_is_shown_and_explained_only_when_asked(capsys):
    assert main(["library", "show", "bare-fingers"]) == 0
    shown = capsys.readouterr().out
    assert "made by the simulated bench" in shown
    assert "The secondary is open" not in shown
    assert main(["library", "show", "bare-fingers", "--explain"]) == 0
    shown = capsys.readouterr().out
    assert "The secondary is open" in shown
    assert "  Secondary winding: open" in shown
    assert main(["library", "show", "rough-ground", "--explain"]) == 0
    assert ": closed at times" in capsys.readouterr().out  # it is watched for staying open


def test_a_stated_step_that_the_card_lacks_is_said(own, capsys):
    folder = _two_exercises(own / "class")
    text = (folder / CATALOGUE).read_text("utf-8").replace("primary =", "moon =", 1)
    (folder / CATALOGUE).write_text(text, encoding="utf-8")
    assert main(["library", "show", "dropped-on-the-quay", "--explain"]) == 0
    assert "  moon: the card has no such step" in capsys.readouterr().out


def test_one_that_is_not_there_is_a_sentence(capsys):
    assert main(["library", "show", "moon"]) == 4
    assert "“meterlink library” lists" in capsys.readouterr().err


def test_the_check_passes_and_fails(own, tmp_path, capsys):
    assert main(["library", "check", "dropped-on-the-quay", "weak-and-hard-to-start"]) == 0
    assert capsys.readouterr().out.count("as it should be") == 2
    folder = _two_exercises(own / "class")
    text = (folder / CATALOGUE).read_text("utf-8").replace('primary = "open"', 'primary = "short"')
    (folder / CATALOGUE).write_text(text, encoding="utf-8")
    assert main(["library", "check", "dropped-on-the-quay", "--json"]) == 1
    (found,) = map(json.loads, capsys.readouterr().out.splitlines())
    assert found["faults"] == [
        "dropped-on-the-quay: primary should come to “short” and comes to “open”"
    ]


def test_exercises_are_packed_unpacked_and_played(own, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    folder = _two_exercises(tmp_path / "class")
    text = (folder / CATALOGUE).read_text("utf-8").replace('"dropped-on-the-quay"', '"quay"')
    (folder / CATALOGUE).write_text(text, encoding="utf-8")
    (folder / "dropped-on-the-quay.jsonl").rename(folder / "quay.jsonl")
    assert main(["library", "pack", str(folder)]) == 0
    shutil.rmtree(folder)
    assert main(["library", "unpack", "class.exercises.zip"]) == 0
    assert (own / "from-class" / "quay.jsonl").is_file()
    assert main(["library", "check", "quay"]) == 0
    assert main(["replay", "quay", "--check"]) == 0


def test_an_exercise_that_another_of_its_name_hides_is_said(own, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["library", "pack", str(_two_exercises(tmp_path / "class"))]) == 0
    assert main(["library", "unpack", "class.exercises.zip"]) == 0
    assert "is there already" not in capsys.readouterr().out
    assert main(["library", "unpack", "class.exercises.zip"]) == 0
    said = capsys.readouterr().out
    assert f"dropped-on-the-quay is there already, in {own / 'from-class'}" in said
    file = own / "from-class-2" / "dropped-on-the-quay.jsonl"
    assert f"play this one by its file, {file}" in said
    assert file.is_file()


def test_a_pack_from_a_stranger_that_is_none_is_a_sentence(tmp_path, capsys):
    path = tmp_path / "x.zip"
    path.write_bytes(b"PK\x03\x04 nothing of the kind")
    assert main(["library", "unpack", str(path)]) == 4
    assert capsys.readouterr().err.count("\n") == 1


def test_a_folder_that_cannot_be_written_is_said(tmp_path, capsys):
    (tmp_path / "file").write_text("no folder")
    assert main(["library", "make", str(tmp_path / "file")]) == 5
    assert capsys.readouterr().err.count("\n") == 1


def _two_exercises(folder: Path, *, prefix: str = "") -> Path:
    folder.mkdir(parents=True)
    parts = (SHIPPED / CATALOGUE).read_text("utf-8").split("[[exercise]]\n")
    names = ("dropped-on-the-quay", "weak-and-hard-to-start")
    chosen = [part for part in parts if any(f'id = "{name}"' in part for name in names)]
    text = "".join(["format = 1\n", *(f"[[exercise]]\n{part}" for part in chosen)])
    text = text.replace('id = "', f'id = "{prefix}')
    (folder / CATALOGUE).write_text(text, encoding="utf-8")
    for name in names:
        shutil.copy(SHIPPED / f"{name}.jsonl", folder / f"{prefix}{name}.jsonl")
    return folder
