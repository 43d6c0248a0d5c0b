"""Spread work on several processes: results in the order of the items, whoever did them."""

from __future__ import annotations

import multiprocessing
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from typing import TYPE_CHECKING, TypeVar

import cv2

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

__all__ = ["cores", "spread"]

Item = TypeVar("Item")
Result = TypeVar("Result")

#: Workers are replaced after so many items each, so that no memory is held for good. All at
#: once: replaced one by one (``max_tasks_per_child``) the last wait for each other for ever
#: in Python 3.11 and 3.12.
_ITEMS_PER_WORKER = 60


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _begin() -> None:
    cv2.setNumThreads(1)


def spread(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    workers: int = 1,
    label: str = "",
    begin: Callable[[], None] = _begin,
) -> Iterator[Result]:
    """Yield ``work(item)`` for each item, in order.

    Parameters
    ----------
    work : callable
        A function of a module, since it travels to new processes; no shared state.
    items : sequence
    workers : int
        Processes; with one the work is done right here.
    label : str
        Name of the progress bar; none without a name.
    begin : callable
        Run once in each new process.
    """
    if workers <= 1:
        begin()
        yield from _with_bar(map(work, items), len(items), label)
        return
    # One thread each: children read this when they load their libraries.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    yield from _with_bar(_in_turns(work, items, workers, begin), len(items), label)


def _in_turns(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    workers: int,
    begin: Callable[[], None],
) -> Iterator[Result]:
    """Yield results in order, from fresh processes for every turn of items."""
    turn = workers * _ITEMS_PER_WORKER
    for first in range(0, len(items), turn):
        some = items[first : first + turn]
        with ProcessPoolExecutor(
            max_workers=min(workers, len(some)),
            mp_context=multiprocessing.get_context("spawn"),
            initializer=begin,
        ) as pool:
            yield from pool.map(work, some)


def _with_bar(results: Iterator[Result], total: int, label: str) -> Iterator[Result]:
    if not label:
        return results
    try:
        from tqdm import tqdm  # noqa: PLC0415 - only with the extra "train"
    except ImportError:
        return results
    return iter(tqdm(results, total=total, desc=label, file=sys.stderr, smoothing=0.05))
