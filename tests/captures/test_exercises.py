"""Exercises as one file: out as they went in, and nothing from a stranger that is no exercise."""

import json
import shutil
import stat
import zipfile
from pathlib import Path

import pytest

from captures.exchange.packs import MANIFEST
from captures.training.catalogue import (
    CATALOGUE,
    SHIPPED,
    pack_exercises,
    read_catalogue,
    unpack_exercises,
)
from meterlink.errors import CannotWriteError, FaultFoundError, MeterlinkError, UnreadableError

NAMES = ("dropped-on-the-quay", "bare-fingers")


@pytest.fixture
def folder(tmp_path) -> Path:
    """Two of the shipped exercises, one with notes."""
    made = tmp_path / "evening class"
    made.mkdir()
    parts = (SHIPPED / CATALOGUE).read_text("utf-8").split("[[exercise]]\n")
    chosen = [part for part in parts if any(f'id = "{name}"' in part for name in NAMES)]
    text = "".join(["format = 1\n", *(f"[[exercise]]\n{part}" for part in chosen)])
    (made / CATALOGUE).write_text(text, encoding="utf-8")
    for name in NAMES:
        for path in SHIPPED.glob(f"{name}.*"):
            shutil.copy(path, made)
    return made


@pytest.fixture
def pack_file(folder, tmp_path) -> Path:
    target = tmp_path / "class.exercises.zip"
    pack_exercises(folder, target)
    return target


def forge(pack_file: Path, tmp_path: Path, change) -> Path:
    """Return a copy of the pack with its members and manifest changed by ``change``."""
    with zipfile.ZipFile(pack_file) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    manifest = json.loads(members.pop(MANIFEST))
    change(members, manifest)
    target = tmp_path / "forged.zip"
    with zipfile.ZipFile(target, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
        archive.writestr(MANIFEST, json.dumps(manifest))
    return target


def add(members: dict, manifest: dict, name: str, data: bytes) -> None:
    import hashlib

    members[name] = data
    digest = hashlib.sha256(data).hexdigest()
    manifest["files"] = [f for f in manifest["files"] if f["path"] != name]
    manifest["files"].append({"path": name, "bytes": len(data), "sha256": digest})


def test_a_folder_goes_into_one_file_and_comes_out_the_same(folder, pack_file, tmp_path):
    out = unpack_exercises(pack_file, tmp_path / "own")
    assert out.name == "from-evening-class"
    assert {p.name: p.read_bytes() for p in out.iterdir()} == {
        p.name: p.read_bytes() for p in folder.iterdir()
    }
    assert [shelved.exercise.id for shelved in read_catalogue(out)] == list(NAMES)


def test_a_second_time_it_gets_a_name_of_its_own(pack_file, tmp_path):
    first, second = (unpack_exercises(pack_file, tmp_path / "own") for _ in range(2))
    assert first != second
    assert second.name == "from-evening-class-2"


@pytest.mark.parametrize(
    "name",
    [
        *("../up.jsonl", "/etc/x.jsonl", "sub/x.jsonl", "x.exe", "con.jsonl", "com1.notes.toml"),
        *("X.jsonl", ".x.jsonl", "x.jsonl ", "a\\b.jsonl", "x.toml", "x.jsonl.exe"),
    ],
)
def test_a_file_that_no_exercise_has_is_refused(pack_file, tmp_path, name):
    forged = forge(pack_file, tmp_path, lambda m, f: add(m, f, name, b"x"))
    with pytest.raises(UnreadableError):
        unpack_exercises(forged, tmp_path / "own")
    assert_nothing(tmp_path)


@pytest.mark.parametrize(
    "change",
    [
        lambda m, f: m.update({CATALOGUE: b"format = 1"}),
        lambda m, f: m.pop("dropped-on-the-quay.jsonl"),
        lambda m, f: f.update(format="meterlink-job-pack"),
        lambda m, f: f.update(version="2.0"),
        lambda m, f: f["files"].pop(),
        lambda m, f: f["files"][1].update(bytes=3),
        lambda m, f: f["files"][1].update(bytes=-1),
        lambda m, f: f["files"][1].update(bytes=10**24),
    ],
)
def test_a_pack_that_does_not_agree_with_itself_is_refused(pack_file, tmp_path, change):
    with pytest.raises((UnreadableError, FaultFoundError)):
        unpack_exercises(forge(pack_file, tmp_path, change), tmp_path / "own")
    assert_nothing(tmp_path)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        (CATALOGUE, b"format = 1\n"),
        (CATALOGUE, b"\xff\xfe"),
        ("dropped-on-the-quay.jsonl", b'{"kind":"header"'),
        (
            "dropped-on-the-quay.jsonl",
            b'{"kind":"header","format":"meterlink-capture","version":"9.0",'
            b'"started":"2026-11-03T09:00:00.000+00:00","program":"meterlink 9"}\n',
        ),
        ("bare-fingers.notes.toml", b"[[note]]"),
    ],
)
def test_an_honest_pack_of_nonsense_leaves_nothing_behind(pack_file, tmp_path, name, data):
    forged = forge(pack_file, tmp_path, lambda m, f: add(m, f, name, data))
    with pytest.raises(MeterlinkError) as caught:
        unpack_exercises(forged, tmp_path / "own")
    assert str(caught.value).startswith(f"{forged}: {name}")
    assert ".unpacking" not in str(caught.value)
    assert_nothing(tmp_path)


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_pack_that_holds_a_file_twice_is_refused(pack_file, tmp_path):
    with zipfile.ZipFile(pack_file, "a") as archive:
        archive.writestr("dropped-on-the-quay.jsonl", archive.read("dropped-on-the-quay.jsonl"))
    with pytest.raises(UnreadableError, match="twice"):
        unpack_exercises(pack_file, tmp_path / "own")
    assert_nothing(tmp_path)


def test_a_link_is_refused(pack_file, tmp_path):
    forged = forge(pack_file, tmp_path, lambda m, f: m.pop("dropped-on-the-quay.jsonl"))
    with zipfile.ZipFile(forged, "a") as archive:
        info = zipfile.ZipInfo("dropped-on-the-quay.jsonl")
        info.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(info, "/etc/hostname")
    with pytest.raises(UnreadableError, match="link"):
        unpack_exercises(forged, tmp_path / "own")
    assert_nothing(tmp_path)


def test_a_pack_larger_than_allowed_is_refused_before_anything_is_written(pack_file, tmp_path):
    with pytest.raises(UnreadableError, match="not taken unasked"):
        unpack_exercises(pack_file, tmp_path / "own", largest=1000)
    assert_nothing(tmp_path)


def test_a_folder_that_lacks_a_capture_is_not_packed(folder, tmp_path):
    (folder / "dropped-on-the-quay.jsonl").unlink()
    with pytest.raises(UnreadableError, match=r"dropped-on-the-quay\.jsonl cannot be read"):
        pack_exercises(folder, tmp_path / "x.zip")
    assert not (tmp_path / "x.zip").exists()


def test_an_older_pack_is_not_overwritten(folder, pack_file):
    with pytest.raises(CannotWriteError):
        pack_exercises(folder, pack_file)


def assert_nothing(tmp_path: Path) -> None:
    own = tmp_path / "own"
    assert not own.exists() or list(own.iterdir()) == []
