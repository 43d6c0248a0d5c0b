"""The app with stand-ins for the two cores."""

from __future__ import annotations

import importlib.util
import sys
from contextlib import closing
from pathlib import Path

import pytest


def _load(name):
    """Import a module beside this one by path: test folders are no packages here."""
    spec = importlib.util.spec_from_file_location(
        f"app_{name}", Path(__file__).with_name(f"{name}.py")
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def fakes():
    """The module of stand-ins."""
    return _load("fakes")


@pytest.fixture(scope="session")
def hands():
    """The module that works the page."""
    return _load("hands")


@pytest.fixture
def cores(fakes, monkeypatch):
    """Stand-ins for both cores, in place."""
    from app import engine

    fake = fakes.FakeCores()
    fake.put_in_place(lambda name, value: monkeypatch.setattr(engine, name, value))
    return fake


@pytest.fixture
def eye(fakes, monkeypatch):
    """The stand-in reader alone."""
    from app import engine

    fake = fakes.FakeCores()
    for name in ("read_bytes", "combine", "picture"):
        monkeypatch.setattr(engine, name, getattr(fake, name))
    return fake


@pytest.fixture
def page(hands):
    """A fresh visit that has not run yet."""
    import streamlit as st

    st.cache_resource.clear()
    return hands.open_page()


@pytest.fixture
def job(data_home, fakes):
    """A job in titanium."""
    from app.logbook.store import Logbook

    with closing(Logbook(data_home)) as book:
        return book.add_job(
            "Bottle-cage bolt", **{k: fakes.CASE[k] for k in ("work", "edge", "lathe")}
        )


@pytest.fixture
def axle(data_home, hands):
    """A job in steel."""
    from app.logbook.store import Logbook

    with closing(Logbook(data_home)) as book:
        return book.add_job("Axle", work=hands.WORK, edge=hands.EDGE, lathe=hands.LATHE)
