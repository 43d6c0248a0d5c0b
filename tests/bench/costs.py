"""What the benches of a reading's cost share: one core, processes that take turns, memory.

Each side of a comparison is a process of its own on the same core with one thread. It
answers each line on standard input with what one run took: CPU time, the kernel's included.
"""

from __future__ import annotations

import io
import json
import os
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

WARM_UPS, RUNS = 3, 20
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


@dataclass
class Cost:
    """What one side took: CPU seconds and stages of each run, rise of peak memory."""

    seconds: list[float] = field(default_factory=list)
    stages: list[dict[str, float]] = field(default_factory=list)
    rise_bytes: int = 0

    @property
    def median_s(self) -> float:
        return statistics.median(self.seconds)

    def stage_medians_s(self) -> dict[str, float]:
        """Return the median of each stage, in their order."""
        return {
            name: statistics.median(s[name] for s in self.stages) for name in self.stages[0]
        }


def one_core() -> None:
    """Keep this process and its children on one core."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})


def one_thread() -> None:
    """Hold the libraries of pictures to one thread; HEIC can be opened afterwards."""
    import cv2
    import pillow_heif

    cv2.setNumThreads(1)
    pillow_heif.options.DECODE_THREADS = 1
    pillow_heif.register_heif_opener()


def resident_bytes(which: str) -> int:
    """Return the resident memory of this process: ``VmRSS`` now, ``VmHWM`` at its peak.

    Not from ``getrusage``: there a child starts with the peak of its parent.
    """
    status = Path("/proc/self/status").read_text()
    line = next(line for line in status.splitlines() if line.startswith(f"{which}:"))
    return int(line.split()[1]) * 1024


def decoding(data: bytes) -> Callable[[], object]:
    """Return the denominator: the picture library's own decoding, no profile, no turning."""
    import numpy as np
    from PIL import Image

    return lambda: np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


def load_models() -> None:
    """Load all that a reading loads once."""

    from vision import bundled

    bundled.form_model(), bundled.size_model()
    bundled.packaged_eye()


def whole_reading(data: bytes) -> Callable[[], object]:
    """Return the numerator: bytes to JSON."""
    from vision import NoChips, read_photo
    from vision.as_json import reading_json

    load_models()

    def run() -> object:
        try:
            return json.dumps(reading_json(read_photo(data)))
        except NoChips as error:
            return str(error)

    return run


def serve(run: Callable[[], object], warm_ups: int, stages: Callable[[], dict] = dict) -> None:
    """Run once for each line on standard input and answer with what that took.

    ``stages`` is asked after each run for the CPU seconds of its stages.
    """
    before = resident_bytes("VmRSS")

    def answer(*what: object) -> None:
        sys.stdout.write(json.dumps(what) + "\n")
        sys.stdout.flush()

    for _ in range(warm_ups):
        run()
    answer("ready")
    for _ in sys.stdin:
        start = time.process_time()
        run()
        seconds = time.process_time() - start
        answer(seconds, stages(), resident_bytes("VmHWM") - before)


def take_turns(
    script: str, path: Path, sides: Mapping[str, tuple[int, int]]
) -> dict[str, Cost]:
    """Return what each side took; they run by turns on one photo.

    Parameters
    ----------
    script : str
        Called with ``--worker SIDE WARM_UPS PHOTO``; must end in :func:`serve`.
    sides : side -> (runs dropped, runs counted)
    """
    processes = {}
    for side, (warm_ups, _) in sides.items():
        processes[side] = subprocess.Popen(  # noqa: S603 - a script of this folder
            [sys.executable, script, "--worker", side, str(warm_ups), str(path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, **ONE_THREAD},
        )
        _answer(processes[side], side)  # ready: nothing else runs while another is measured
    costs = {side: Cost() for side in sides}
    for k in range(max(runs for _, runs in sides.values())):
        for side, process in processes.items():
            if k >= sides[side][1]:
                continue
            process.stdin.write("go\n")
            process.stdin.flush()
            seconds, stages, costs[side].rise_bytes = _answer(process, side)
            costs[side].seconds.append(seconds)
            costs[side].stages.append(stages)
    for process in processes.values():
        process.stdin.close()
        process.wait()
    return costs


def _answer(process: subprocess.Popen, side: str) -> list:
    line = process.stdout.readline()
    if not line:
        raise SystemExit(f"{side} stopped")
    return json.loads(line)
