"""Who closed a record: keys, signatures, and what breaks them on purpose.

Signatures are checked here with the ``cryptography`` library's own Ed25519, and once with the
published test vector of RFC 8032, section 7.1, TEST 1.
"""

import json
import os
import stat

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from captures.job.verify_job import verify_job
from captures.record.records import decode
from captures.record.seals import Seal
from captures.record.signature import is_signed_well, make_key, public_key, signed_text
from captures.record.verify import State, verify
from meterlink.reading import Reading
from tests.captures.made import HEADER
from tui.cli import main


@pytest.fixture
def keys(tmp_path, monkeypatch):
    folder = tmp_path / "keys"
    monkeypatch.setattr("captures.record.signature.default_folder", lambda: folder)
    return folder


@pytest.fixture
def job(keys, store):
    make_key()
    with store.create("Pump 7") as writer, writer.new_capture(HEADER) as capture:
        capture.append(Reading(0.0, 1.0))
    return writer.job


def last_seal(path) -> Seal:
    seal = decode(path.read_bytes().splitlines()[-1])
    assert isinstance(seal, Seal)
    return seal


def test_the_library_signs_as_the_standard_says():
    secret = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"
    signature = (
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bac"
        "c61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
    )
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert key.sign(b"").hex() == signature


def test_the_key_is_for_its_owner_alone_and_never_replaced(keys, capsys):
    assert main(["key", "show"]) == 4
    assert main(["key", "make", "--name", "Bench 1"]) == 0
    line = capsys.readouterr().out
    assert line == f'"Bench 1" = "ed25519:{public_key()}"\n'
    if os.name == "posix":
        assert stat.S_IMODE((keys / "bench.pem").stat().st_mode) == 0o600
        assert stat.S_IMODE(keys.stat().st_mode) == 0o700
    before = (keys / "bench.pem").read_bytes()
    assert main(["key", "make"]) == 5
    assert (keys / "bench.pem").read_bytes() == before


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")
def test_a_key_that_others_may_read_signs_nothing_and_is_said(keys, store, capsys):
    make_key()
    (keys / "bench.pem").chmod(0o644)
    with store.create("Pump 7") as writer:
        pass
    assert last_seal(writer.job.log_path).signature == ""
    assert main(["key", "show"]) == 4
    assert "chmod 600" in capsys.readouterr().err


def test_every_final_seal_of_a_job_is_signed_as_the_format_says(job):
    for path in (job.log_path, *job.captures()):
        seal = last_seal(path)
        assert seal.key == public_key()
        text = f"meterlink-seal\n{seal.lines}\n{seal.bytes}\n{seal.sha256}\n".encode()
        assert text == signed_text(seal)
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(seal.key)).verify(
            bytes.fromhex(seal.signature), text
        )
    assert {part.state for part in verify_job(job)} == {State.WHOLE}


def test_nothing_is_signed_without_a_key(keys, store):
    with store.create("Pump 7") as writer:
        pass
    assert b'"signature"' not in writer.job.log_path.read_bytes()


def test_verify_says_who_closed_a_record(job, tmp_path, capsys):
    trusted, others = tmp_path / "trusted.toml", tmp_path / "others.toml"
    trusted.write_text(f'"Bench 1" = "ed25519:{public_key()}"\n')
    others.write_text(f'"Bench 2" = "ed25519:{"0" * 64}"\n')
    assert main(["verify", str(job.folder), "--trusted", str(trusted)]) == 0
    assert capsys.readouterr().out.count("signed by “Bench 1”") == 2
    assert main(["verify", str(job.log_path), "--trusted", str(trusted), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["signed_by"] == "Bench 1"
    assert main(["verify", str(job.folder), "--trusted", str(others)]) == 1
    assert "not among the trusted" in capsys.readouterr().out


def test_a_record_that_was_made_again_has_no_signature_or_another(job, keys, tmp_path, capsys):
    """Whoever can write the file can seal it again; without the key they cannot sign it."""
    trusted = tmp_path / "trusted.toml"
    trusted.write_text(f'"Bench 1" = "ed25519:{public_key()}"\n')
    path = job.captures()[0]
    seal = last_seal(path)
    from captures.record.writer import RecordWriter

    path.unlink()
    with RecordWriter.create(path, HEADER) as forged:
        forged.append(Reading(0.0, 2.0))
    assert verify(path).state is State.WHOLE
    assert main(["verify", str(path), "--trusted", str(trusted)]) == 1
    capsys.readouterr()
    lines = path.read_bytes().splitlines(keepends=True)
    stolen = f'"final":true,"key":"{seal.key}","signature":"{seal.signature}"}}\n'.encode()
    path.write_bytes(b"".join(lines[:-1]) + lines[-1].replace(b'"final":true}\n', stolen))
    assert verify(path).state is State.ALTERED


@pytest.mark.parametrize("what", ["key", "signature"])
def test_a_signature_with_one_other_digit_is_an_altered_line(job, what):
    path = job.captures()[0]
    data = path.read_bytes()
    at = data.rindex(f'"{what}":"'.encode()) + len(what) + 4
    other = b"0" if data[at : at + 1] != b"0" else b"1"
    path.write_bytes(data[:at] + other + data[at + 1 :])
    check = verify(path)
    assert (check.state, check.first_bad_line) == (State.ALTERED, data.count(b"\n"))


def test_a_signed_record_can_be_continued_and_is_signed_again(job, store):
    with store.resume(job.name) as writer, writer.new_capture(HEADER) as capture:
        capture.append(Reading(0.0, 1.0))
    assert {part.state for part in verify_job(job)} == {State.WHOLE}
    assert is_signed_well(last_seal(job.log_path)) is True


@pytest.mark.parametrize("text", ["x = 1\n", "not toml", '"a" = "ed25519:zz"\n', "\ufeff"])
def test_a_file_that_holds_no_keys_is_refused_in_one_sentence(job, tmp_path, capsys, text):
    (tmp_path / "k.toml").write_text(text, encoding="utf-8")
    assert main(["verify", str(job.folder), "--trusted", str(tmp_path / "k.toml")]) in {1, 4}
    said = capsys.readouterr()
    if text != "\ufeff":
        assert said.out == ""
        assert said.err.count("\n") == 1


def test_the_report_says_whether_the_log_is_signed_and_what_that_shows(job, capsys):
    assert main(["report", str(job.folder)]) == 0
    page = (job.folder / "report.html").read_text("utf-8")
    assert public_key() in page
    assert "it does not show when" in page
    capsys.readouterr()
