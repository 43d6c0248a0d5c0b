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

#: A worker is replaced after so many items, so that no memory is held for good.
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
    with ProcessPoolExecutor(
        max_workers=min(workers, max(len(items), 1)),
        mp_context=multiprocessing.get_context("spawn"),
        initializer=begin,
        max_tasks_per_child=_ITEMS_PER_WORKER,
    ) as pool:
        yield from _with_bar(pool.map(work, items), len(items), label)


def _with_bar(results: Iterator[Result], total: int, label: str) -> Iterator[Result]:
    if not label:
        return results
    try:
        from tqdm import tqdm  # noqa: PLC0415 - only with the extra "train"
    except ImportError:
        return results
    return iter(tqdm(results, total=total, desc=label, file=sys.stderr, smoothing=0.05))
