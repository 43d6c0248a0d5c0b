"""Work spread on several processes: all of it, in order, with workers renewed on the way."""

from __future__ import annotations

import os

import pytest

from vision.training import pool


def who(number):
    return number, os.getpid()


@pytest.mark.timeout(120)
def test_more_items_than_workers_may_do(monkeypatch):
    monkeypatch.setattr(pool, "_ITEMS_PER_WORKER", 2)
    done = list(pool.spread(who, range(9), workers=2))
    assert [n for n, _ in done] == list(range(9))
    processes = {p for _, p in done}
    assert os.getpid() not in processes
    assert len(processes) > 2  # two at a time, and others after two items each


def test_one_worker_is_this_process():
    assert list(pool.spread(who, [3, 1], workers=1)) == [(3, os.getpid()), (1, os.getpid())]


def test_nothing_to_do():
    assert list(pool.spread(who, [], workers=2)) == []
