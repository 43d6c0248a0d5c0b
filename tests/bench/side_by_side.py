"""A whole reading beside plain decoding and the plain pipeline, stage by stage.

    python tests/bench/side_by_side.py                          all six photos, minutes
    python tests/bench/side_by_side.py --megapixels 12 --chips 20
    python tests/bench/side_by_side.py --keep FOLDER            also leaves the photos there

Draws a photo of 12 and of 48 megapixels with 1, 20 and 100 chips on the card, each at the
density that its size asks for, with the grain of a dim workshop. Then decoding only
(``Image.open(BytesIO(bytes)).convert("RGB")`` to an array), the plain scikit-image pipeline
and the whole reading (bytes to JSON) take turns, each a process of its own with one thread
on one core. Printed are medians of CPU time, the kernel's included, in units of decoding,
and the rise of peak memory over what imports and loaded models take, in units of the
decoded picture. The stages of a reading are told apart by when the walk's own functions
return, so they are the reading's own runs, not runs of their own, and add up to it.

A drawn chip is cheaper to name than a real one can be: no clutter, no tint but bare metal.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING
from unittest.mock import patch

import numpy as np
from costs import (
    RUNS,
    WARM_UPS,
    Cost,
    decoding,
    one_core,
    one_thread,
    serve,
    take_turns,
    whole_reading,
)

from vision.synthetic import SyntheticScene, make_scene
from vision.synthetic.strips import make_chip

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

SEED = 12
#: One chip each; grains and nests are no count.
FORMS = ("arc", "spiral", "ribbon", "tubular", "washer", "conical", "needle")
#: Chips -> card, longest chip in mm: a hundred lie apart only on the larger card, and only
#: without the longest.
LAID = {1: ("a5", 40.0), 20: ("a5", 40.0), 100: ("a4", 16.0)}
#: Megapixels -> least width and height of the photo.
SIZES_PX = {12: (4000, 3000), 48: (8000, 6000)}
#: Grain and quality with which 12 megapixels have 3 to 6 MB, as phones write them.
GRAIN, QUALITY = 0.04, 95
#: Runs dropped and counted of the plain pipeline, which takes up to a minute.
PLAIN_RUNS = {12: (1, 3), 48: (0, 1)}
#: Asked of 12 megapixels with 20 chips, of every photo, and of every photo.
READ_MOST, PLAIN_MOST, MEMORY_MOST = 3.0, 0.15, 5.0


@dataclass(frozen=True)
class Drawn:
    """A drawn photo: its scene, the card, and how fine it was drawn."""

    scene: SyntheticScene
    card: str
    px_per_mm: float


def drawn(count: int, least_px: tuple[int, int]) -> Drawn:
    """Draw ``count`` chips in a photo of at least ``least_px``, nowhere enlarged."""
    card, longest_mm = LAID[count]

    def at(px_per_mm: float) -> SyntheticScene:
        rng = np.random.default_rng(SEED)
        chips = []
        while len(chips) < count:
            chip = make_chip(rng, FORMS[len(chips) % len(FORMS)])
            chips += [chip] if chip.extent_mm <= longest_mm else []
        return make_scene(
            rng,
            card=card,
            px_per_mm=px_per_mm,
            chips=chips,
            noise=GRAIN,
            jpeg_quality=QUALITY,
        )

    # The camera stands where the seed puts it, so a coarse trial tells how much it sees.
    height, width = at(3.0).rgb.shape[:2]
    px_per_mm = 3.0 * 1.002 * max(least_px[0] / width, least_px[1] / height)
    return Drawn(at(px_per_mm), card, px_per_mm)


@contextmanager
def staged_reading(
    data: bytes,
) -> Iterator[tuple[Callable[[], object], Callable[[], dict[str, float]]]]:
    """Yield a whole reading, and what its stages took when it ran last, CPU seconds."""
    import vision
    from vision import reading
    from vision.chips import look
    from vision.photo import opened

    ends: list[tuple[str, float]] = []

    def marked(stage: str, real: Callable) -> Callable:
        def run(*args: object, **named: object) -> object:
            result = real(*args, **named)
            ends.append((stage, time.process_time()))
            return result

        return run

    with ExitStack() as stack:
        for stage, module, name in (
            ("decode", opened, "decode_photo"),
            ("card", opened, "find_card"),
            ("plane and light", opened, "measure_light"),
            ("finding", look, "find_chips"),
            ("measuring", reading, "look_at"),
            ("naming and heat", vision, "read_photo"),
        ):
            there = getattr(module, name)
            stack.enter_context(patch.object(module, name, marked(stage, there)))
        whole = whole_reading(data)

        def run() -> object:
            ends[:] = [("start", time.process_time())]
            return marked("JSON", whole)()

        def took() -> dict[str, float]:
            return {stage: end - start for (_, start), (stage, end) in pairwise(ends)}

        yield run, took


def worker(side: str, warm_ups: int, path: Path) -> None:
    """Be one side of the comparison."""
    one_thread()
    data = path.read_bytes()
    if side == "decode":
        serve(decoding(data), warm_ups)
    elif side == "plain":
        from plain_pipeline import plain_pipeline

        serve(lambda: plain_pipeline(data), warm_ups)
    else:
        with staged_reading(data) as (run, took):
            serve(run, warm_ups, took)


def say(line: str) -> None:
    print(line, flush=True)  # noqa: T201


def table(costs: dict[str, Cost], picture_bytes: int) -> None:
    """Print one line for each side, and for each stage of the reading."""
    unit = costs["decode"].median_s

    def row(what: str, seconds: float, cost: Cost | None = None) -> None:
        rest = ""
        if cost:
            rest = f"{len(cost.seconds):6d}  {cost.rise_bytes / picture_bytes:9.2f}"
        say(f"  {what:20s} {seconds / unit:9.2f} {seconds * 1e3:9.1f} {rest}".rstrip())

    say(f"  {'':20s} {'÷ decode':>9s} {'CPU ms':>9s} {'runs':>6s}  memory ÷ picture")
    row("decoding only", unit, costs["decode"])
    row("plain pipeline", costs["plain"].median_s, costs["plain"])
    row("whole reading", costs["read"].median_s, costs["read"])
    for stage, seconds in costs["read"].stage_medians_s().items():
        row(f"  {stage}", seconds)


def report(count: int, megapixels: int, folder: Path) -> list[str]:
    """Measure one photo, print its table, and return what falls short."""
    from vision import read_photo

    photo = drawn(count, SIZES_PX[megapixels])
    height, width = photo.scene.rgb.shape[:2]
    data = photo.scene.jpeg
    path = folder / f"{megapixels}_megapixels_{count}_chips.jpg"
    path.write_bytes(data)
    reading = read_photo(data)
    if reading.scale.source != "card":
        raise SystemExit(f"{path.name}: the card was not found, so nothing here is typical")
    name = f"{megapixels} megapixels, {count} chip{'s' if count > 1 else ''}"
    say(
        f"\n{name}: {width} x {height} px, {len(data) / 1e6:.1f} MB, card {photo.card}, "
        f"{photo.px_per_mm:.1f} px/mm; read as {len(reading.chips)}"
    )
    costs = take_turns(
        __file__,
        path,
        {
            "decode": (WARM_UPS, RUNS),
            "read": (WARM_UPS, RUNS),
            "plain": PLAIN_RUNS[megapixels],
        },
    )
    picture_bytes = 3 * width * height
    table(costs, picture_bytes)
    read = costs["read"].median_s
    figures = [
        ("whole reading ÷ plain pipeline", read / costs["plain"].median_s, PLAIN_MOST),
        ("memory ÷ picture", costs["read"].rise_bytes / picture_bytes, MEMORY_MOST),
    ]
    if (count, megapixels) == (20, 12):
        figures.append(("whole reading ÷ decoding", read / costs["decode"].median_s, READ_MOST))
    for what, value, most in figures:
        say(f"  {what} {value:.3g}, asked at most {most:g}")
    return [f"{name}: {w} {v:.3g}, asked {most:g}" for w, v, most in figures if v > most]


def main() -> int:
    """Measure all photos, or those asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--megapixels", type=int, nargs="+", choices=SIZES_PX, default=SIZES_PX)
    parser.add_argument("--chips", type=int, nargs="+", choices=LAID, default=LAID)
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="leave the photos here")
    parser.add_argument("--worker", nargs=3, help=argparse.SUPPRESS)
    given = parser.parse_args()
    one_core()
    if given.worker:
        side, warm_ups, path = given.worker
        worker(side, int(warm_ups), Path(path))
        return 0
    say(f"CPU time of one core, medians; {WARM_UPS} runs dropped. The plain pipeline is slow:")
    for megapixels, (dropped, counted) in PLAIN_RUNS.items():
        say(f"at {megapixels} megapixels it ran {counted} time(s), {dropped} dropped.")
    short = []
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.keep or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        for megapixels in given.megapixels:
            for count in given.chips:
                short += report(count, megapixels, folder)
    say("\nFalls short: " + ("; ".join(short) or "nothing"))
    return 0


if __name__ == "__main__":
    sys.exit(main())
