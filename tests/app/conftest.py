"""The app with stand-ins for the two cores."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest


def _load_fakes():
    """Import the stand-ins by path: test folders are no packages here."""
    spec = importlib.util.spec_from_file_location(
        "app_fakes", Path(__file__).with_name("fakes.py")
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules["app_fakes"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def fakes():
    """The module of stand-ins."""
    return _load_fakes()


@pytest.fixture
def cores(fakes, monkeypatch):
    """Stand-ins for both cores, in place."""
    from app import engine

    fake = fakes.FakeCores()
    fake.put_in_place(lambda name, value: monkeypatch.setattr(engine, name, value))
    return fake
