"""A job goes into one file and comes out the same; nothing else comes out of any file."""

import contextlib
import io
import os
import stat
import sys
import zipfile
from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from captures.exchange.packs import (
    JOB_PACK,
    MANIFEST,
    Manifest,
    _files_of,
    pack,
    pack_files,
    reports_in,
    unpack,
)
from captures.job.attachments import attach
from captures.job.store import JobStore
from captures.job.verify_job import verify_job
from captures.record.verify import State
from meterlink.errors import CannotWriteError, FaultFoundError, MeterlinkError, UnreadableError
from meterlink.reading import Reading
from tests.captures.made import HEADER


@pytest.fixture
def job(store, tmp_path):
    photo = tmp_path / "Plug, worn?.JPG"
    photo.write_bytes(os.urandom(5000))
    with store.create("Насос 7") as writer:
        with writer.new_capture(HEADER) as capture:
            capture.append(Reading(0.0, 1.0))
        attach(writer, photo, note="electrode")
    return writer.job


@pytest.fixture
def elsewhere(tmp_path):
    return JobStore(tmp_path / "elsewhere")


def test_a_job_comes_out_as_it_went_in(job, elsewhere, tmp_path):
    pack(job, tmp_path / "a.job.zip")
    out = unpack(tmp_path / "a.job.zip", elsewhere)
    assert out.name == job.name
    for path in (job.log_path, *job.captures(), *job.attachments()):
        assert (out.folder / path.relative_to(job.folder)).read_bytes() == path.read_bytes()
    assert {part.state for part in verify_job(out)} == {State.WHOLE}
    again = unpack(tmp_path / "a.job.zip", elsewhere)
    assert again.name == f"{job.name}-2"
    assert sorted(p.name for p in elsewhere.root.iterdir()) == [job.name, again.name]


def test_an_attachment_keeps_bytes_ending_and_name(job):
    [copy] = job.attachments()
    assert copy.name == "0001-plug-worn.jpg"
    [*_, entry] = job.entries()
    assert (entry.event.name, entry.event.note) == ("Plug, worn?.JPG", "electrode")
    assert entry.event.bytes == 5000


def test_an_attachment_that_was_touched_is_found(job):
    [copy] = job.attachments()
    copy.write_bytes(copy.read_bytes()[:-1])
    assert [part.state for part in verify_job(job)][-1] is State.ALTERED


def test_a_pack_is_never_written_over_a_file(job, tmp_path):
    target = tmp_path / "a.job.zip"
    target.write_text("mine")
    with pytest.raises(CannotWriteError):
        pack(job, target)
    assert target.read_text() == "mine"


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_links_do_not_go_into_a_pack(job, tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("not yours")
    (job.folder / "attachments" / "0002-link.txt").symlink_to(secret)
    with pytest.raises(UnreadableError):
        pack(job, tmp_path / "a.job.zip")
    assert not (tmp_path / "a.job.zip").exists()


def _forge(job, tmp_path, change):
    """Pack ``job``, let ``change`` have manifest and entries, and write what it returns."""
    (tmp_path / "good.zip").unlink(missing_ok=True)
    pack(job, tmp_path / "good.zip")
    with zipfile.ZipFile(tmp_path / "good.zip") as archive:
        entries = {name: archive.read(name) for name in archive.namelist()}
    manifest = msgspec.json.decode(entries.pop(MANIFEST))
    target = tmp_path / "forged.zip"
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        change(archive, manifest, entries)
        for name, data in entries.items():
            archive.writestr(name, data)
        archive.writestr(MANIFEST, msgspec.json.encode(manifest))
    return target


def _sneak(path):
    def change(archive, manifest, entries):
        import hashlib

        data = b"sneaked in"
        manifest["files"].append(
            {"path": path, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        )
        entries[path] = data

    return change


@pytest.mark.parametrize(
    "path",
    [
        "../../escaped.txt",
        "/etc/escaped",
        "C:\\escaped.txt",
        "captures/../../escaped",
        "captures\\..\\escaped",
        "captures/0001-a/../../../escaped",
        "captures/0009-a:stream",
        "captures/0009-a\x1b[31m",
        "captures/0009-\u202egpj.exe",
        "captures/CON",
        "captures/0009-dot.",
        "captures/.hidden",
        "autorun.inf",
        "report.html/x",
        "LOG.JSONL",
    ],
)
def test_a_file_that_no_job_has_is_refused_and_nothing_is_left(job, elsewhere, tmp_path, path):
    forged = _forge(job, tmp_path, _sneak(path))
    before = set(tmp_path.rglob("*"))
    with pytest.raises(UnreadableError) as refused:
        unpack(forged, elsewhere)
    assert str(refused.value).isprintable()
    left = set(tmp_path.rglob("*")) - before - {elsewhere.root}
    assert left == set()


def test_a_job_name_cannot_lead_out_of_the_folder(job, elsewhere, tmp_path):
    for name in ("../../x", "", "CON", "a/b", "2026-11-03-../..", "\x00", "x" * 4000):
        forged = _forge(job, tmp_path, lambda a, m, e, name=name: m.update(name=name))
        out = unpack(forged, elsewhere)
        assert out.folder.resolve().parent == elsewhere.root.resolve()


def test_a_link_in_a_pack_is_refused(job, elsewhere, tmp_path):
    def change(archive, manifest, entries):
        info = zipfile.ZipInfo("captures/0001-primary.jsonl")
        info.external_attr = (stat.S_IFLNK | 0o777) << 16
        entries.pop(info.filename)
        archive.writestr(info, "/etc/passwd")

    with pytest.raises(UnreadableError, match="link"):
        unpack(_forge(job, tmp_path, change), elsewhere)


def test_a_bomb_is_refused_by_what_it_says_and_by_what_it_does(job, elsewhere, tmp_path):
    bomb = bytes(64 << 20)

    def honest(archive, manifest, entries):
        manifest["files"][1]["bytes"] = len(bomb)
        entries["captures/0001-primary.jsonl"] = bomb

    def lying(archive, manifest, entries):
        entries["captures/0001-primary.jsonl"] = bomb

    with pytest.raises(UnreadableError, match="bytes"):
        unpack(_forge(job, tmp_path, honest), elsewhere, largest=32 << 20)
    with pytest.raises(FaultFoundError):
        unpack(_forge(job, tmp_path, lying), elsewhere)
    assert list(elsewhere.root.iterdir()) == []


def test_a_changed_file_is_refused(job, elsewhere, tmp_path):
    def change(archive, manifest, entries):
        entries["log.jsonl"] = entries["log.jsonl"].replace(b"electrode", b"electrodE")

    with pytest.raises(FaultFoundError, match="nothing was unpacked"):
        unpack(_forge(job, tmp_path, change), elsewhere)


@pytest.mark.parametrize(
    "change",
    [
        lambda a, m, e: e.pop("log.jsonl"),
        lambda a, m, e: m.update(files=[]),
        lambda a, m, e: m.update(format="other"),
        lambda a, m, e: m.update(version="2.0"),
        lambda a, m, e: m.pop("files"),
        lambda a, m, e: e.update({"captures/0099-more.jsonl": b""}),
        lambda a, m, e: m["files"].append(m["files"][0]),
        lambda a, m, e: m["files"][0].update(bytes=-1),
    ],
)
def test_a_manifest_that_does_not_agree_is_refused(job, elsewhere, tmp_path, change):
    with pytest.raises(MeterlinkError):
        unpack(_forge(job, tmp_path, change), elsewhere)
    assert not elsewhere.root.exists() or list(elsewhere.root.iterdir()) == []


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_no_damage_to_a_pack_makes_a_traceback(job, elsewhere, tmp_path, data):
    whole = tmp_path / "whole.zip"
    if not whole.exists():
        pack(job, whole)
    content = bytearray(whole.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(
            st.integers(0, len(content) - 1) | st.integers(len(content) - 700, len(content) - 1)
        )
        content[at : at + data.draw(st.integers(1, 8))] = data.draw(st.binary(max_size=8))
    damaged = tmp_path / "damaged.zip"
    damaged.write_bytes(content)
    with contextlib.suppress(MeterlinkError):
        unpack(damaged, elsewhere)


def test_what_is_no_archive_is_refused(elsewhere, tmp_path):
    for content in (b"", b"PK", os.urandom(1000)):
        path = tmp_path / "a.zip"
        path.write_bytes(content)
        with pytest.raises(UnreadableError, match="no pack"):
            unpack(path, elsewhere)
    empty = io.BytesIO()
    zipfile.ZipFile(empty, "w").close()
    path.write_bytes(empty.getvalue())
    with pytest.raises(UnreadableError, match="no pack"):
        unpack(path, elsewhere)


def test_the_manifest_is_what_it_says(job, tmp_path):
    manifest = pack(job, tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        assert archive.testzip() is None
        assert msgspec.json.decode(archive.read(MANIFEST), type=Manifest) == manifest


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_pack_that_could_not_be_written_is_not_left_behind(job, tmp_path, monkeypatch):
    target = tmp_path / "a.job.zip"
    really = Path.open

    def full(path, *args, **more):
        if path != target:
            return really(path, *args, **more)
        target.touch()
        return really(Path("/dev/full"), "wb")

    monkeypatch.setattr(Path, "open", full)
    with pytest.raises(CannotWriteError, match="No space"):
        pack(job, target)
    assert not target.exists()


def test_a_pack_is_not_written_over(job, tmp_path):
    target = tmp_path / "a.job.zip"
    pack(job, target)
    before = target.read_bytes()
    with pytest.raises(CannotWriteError, match="choose another name"):
        pack(job, target)
    assert target.read_bytes() == before


def test_a_report_that_came_with_a_pack_is_left_in_it(store, job, tmp_path):
    """A page from elsewhere could say anything, and its script would run."""
    report = job.folder / "report.html"
    report.write_text("<script>alert(1)</script>All checks passed")
    pack(job, tmp_path / "new.zip")
    with zipfile.ZipFile(tmp_path / "new.zip") as archive:
        assert "report.html" not in archive.namelist()
    files = [*_files_of(job), report]
    old = ((path, path.relative_to(job.folder).as_posix()) for path in files)
    pack_files(JOB_PACK, job.name, old, tmp_path / "old.zip")
    assert reports_in(tmp_path / "old.zip") == ["report.html"]
    taken = unpack(tmp_path / "old.zip", store)
    assert not list(taken.folder.glob("*.html"))
    assert {part.state for part in verify_job(taken)} == {State.WHOLE}


@pytest.mark.skipif(os.name == "nt", reason="no such rights there")
@pytest.mark.parametrize("mask", [0o077, 0o027, 0o022])
def test_what_is_unpacked_has_the_rights_that_the_user_gives_new_files(store, job, tmp_path, mask):
    pack(job, tmp_path / "a.zip")
    before = os.umask(mask)
    try:
        taken = unpack(tmp_path / "a.zip", store)
    finally:
        os.umask(before)
    for path in (taken.folder, *taken.folder.rglob("*")):
        wanted = (0o777 if path.is_dir() else 0o666) & ~mask
        assert path.stat().st_mode & 0o777 == wanted, path
