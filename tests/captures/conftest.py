"""What the tests of records share."""

import pytest

from captures.job.store import JobStore


@pytest.fixture
def store(tmp_path):
    """A folder for jobs that is not there yet."""
    return JobStore(tmp_path / "jobs")


def pytest_addoption(parser):
    """``--kills N``: how often the writer is killed; hundreds before a release."""
    parser.addoption("--kills", type=int, default=25)


@pytest.fixture
def kills(request):
    """How often to kill the writer."""
    return request.config.getoption("--kills", default=25)
