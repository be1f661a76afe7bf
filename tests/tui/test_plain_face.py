"""The plain face: what cannot be written down is said at once, and when it can be again."""

import sys
from pathlib import Path

import pytest

from captures.job.store import JobStore
from drivers.clock import VirtualClock
from drivers.opening import open_source
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from tui.announcing.teller import Teller
from tui.plain.plain_face import PlainFace
from tui.session.hands import connect_hands
from tui.session.setup import session
from tui.settings import CARDS, PROFILES


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of a file there")
def test_a_record_that_cannot_be_written_is_said_loudly_and_once(tmp_path: Path):
    import resource
    import signal

    said: list[str] = []
    scenario = load_scenario("spring-service")
    card, profile = CARDS.get(scenario.card), PROFILES.get(scenario.profile)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    import threading

    try:
        with (
            SimulatedBench(scenario, clock=VirtualClock()) as bench,
            JobStore(tmp_path).create("full disk") as job,
        ):
            source = open_source(bench.port, clock=bench.clock)
            with session(job, source, bench.clock, card, profile) as sitting:
                face = PlainFace(Teller(card), said.append, trouble=lambda: sitting.trouble)
                connect_hands(sitting, bench)
                sitting.show(face)
                resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, hard))
                sitting.run(threading.Event())
                resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
            source.close()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)
    loud = [line for line in said if line.startswith("!!!")]
    assert len(loud) == 1
    assert "cannot be written" in loud[0]
    assert sitting.bench.progress.ended, "the job went on"
