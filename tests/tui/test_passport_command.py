"""``meters --passport``: what is known of a meter, entered once."""

from pathlib import Path

import pytest

from tui import settings
from tui.cli import main


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(settings, "config_folder", lambda: tmp_path)


ENTERED = ["meters", "--passport", "SN-7", "--certificate"]


def test_two_certificates_make_a_drift_that_the_bench_goes_by(
    capsys: pytest.CaptureFixture[str],
) -> None:
    first = [*ENTERED, "K-1", "--calibrated", "2024-03-01", "--found-off", "0.1"]
    assert main(first) == 0
    second = [*ENTERED, "K-2", "--calibrated", "2025-03-01", "--found-off", "0.3"]
    assert main([*second, "--expires", "2025-09-01", "--celsius", "28", "18"]) == 0
    said = capsys.readouterr().out
    assert "moves by +0.2 % a year" in said
    assert "its accuracy holds from 18 to 28 °C" in said
    assert "The meter's certificate K-2 ended on 2025-09-01" in said
    (passport,) = settings.load().passport
    assert [one.number for one in passport.certificate] == ["K-1", "K-2"]
    assert (passport.lowest, passport.highest) == (18.0, 28.0)


def test_a_certificate_entered_again_takes_its_own_place() -> None:
    for day in ("2024-03-01", "2024-03-02"):
        assert main([*ENTERED, "K-1", "--calibrated", day]) == 0
    (passport,) = settings.load().passport
    assert [one.calibrated for one in passport.certificate] == ["2024-03-02"]


@pytest.mark.parametrize(
    "args",
    [
        ["meters", "--passport", "SN-7", "--certificate", "K-1"],
        ["meters", "--passport", " "],
        [*ENTERED, "K-1", "--calibrated", "yesterday"],
        [*ENTERED, "K-1", "--calibrated", "2025-03-01", "--expires", "2024-03-01"],
    ],
)
def test_what_is_no_certificate_is_refused_and_nothing_is_kept(args: list[str]) -> None:
    assert main(args) == 2
    assert settings.load().passport == ()
