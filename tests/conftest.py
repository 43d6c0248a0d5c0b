"""Ground rules of all tests: no network, own data folder, repeatable randomness."""

from __future__ import annotations

import os
import warnings

import numpy as np
import pytest
from hypothesis import HealthCheck, settings

# Tests run side by side; threads of the libraries would wait for each other. The workers read
# this when they load them.
os.environ.setdefault("OMP_NUM_THREADS", "1")

# Derandomised: a failure in one place is a failure everywhere. No deadline: a shared
# machine pauses when it likes, and time is measured elsewhere.
settings.register_profile(
    "ci", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("explore", deadline=None, max_examples=500)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))


def pytest_collection_modifyitems(items):
    """Let every test reach this computer only; anything farther fails the test."""
    for item in items:
        item.add_marker(pytest.mark.allow_hosts(["127.0.0.1", "::1", "localhost"]))


@pytest.fixture(autouse=True, scope="session")
def _no_real_data_folder(tmp_path_factory):
    """What runs outside a single test gets a data folder of its own, too."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BLUECURL_HOME", str(tmp_path_factory.mktemp("session-home")))
        yield


@pytest.fixture(autouse=True)
def data_home(tmp_path, monkeypatch):
    """A data folder of its own for each test; never the person's real one."""
    folder = tmp_path / "bluecurl-home"
    monkeypatch.setenv("BLUECURL_HOME", str(folder))
    return folder


@pytest.fixture
def rng():
    """The same random numbers in every run."""
    return np.random.default_rng(20240607)


@pytest.fixture(scope="session")
def colour_science():
    """colour-science; on import it warns that it cannot draw, which nobody asks of it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour
