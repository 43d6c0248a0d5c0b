"""What the width of strips in a photo can show: ``python tests/bench/width_gauge.py``.

Takes ribbons and arcs of like true width from the shipped table of rendered chips, as if
they had come from one pass, and asks the gauge. Prints, for sound cuts and for cuts that
took a half or a third of their width, how often each answer comes, and how often the true
width lies within 2 u.
"""

from __future__ import annotations

import csv
import gzip
import io
import random

from advisor.gauges import flat_width, width_state
from advisor.records import ChipWidth
from vision import bundled
from vision.chips.sizing import TOO_UNSURE
from vision.training.fit_sizes import told_of

#: Chip width over the width cut where all is well: the middle of the usual side-spread.
SPREAD = 1.1
ALIKE = 1.25


def strips(part):
    """(measured over true width, true width mm, relative u) of each ribbon and arc."""
    text = gzip.decompress(bundled.read_data("features.csv.gz")).decode()
    rows = [
        r
        for r in csv.DictReader(io.StringIO(text))
        if r["part"] == part and r["group"] in ("1", "6") and r["label"] != "nest"
    ]
    rows = [r for r in rows if r["card"] == "1" and r["true_width"]]
    told, u_rel = told_of(rows, bundled.size_model(), "width")
    return [
        (r["group"], mm / float(r["true_width"]), float(r["true_width"]), u)
        for r, mm, u in zip(rows, told.tolist(), u_rel.tolist(), strict=True)
        if u < TOO_UNSURE
    ]


def trials(chips, *, count, cut, jobs, seed=1):
    """Shares of the answers, and of true widths within 2 u, over so many imagined passes.

    ``cut`` is the share of the set width that was really cut.
    """
    dice = random.Random(seed)  # noqa: S311 - a trial, no secret
    said = {"sound": 0, "narrow": 0, "wide": 0}
    inside = 0
    for _ in range(jobs):
        group, _, true, _ = dice.choice(chips)
        like = [c for c in chips if c[0] == group and true / ALIKE < c[2] < true * ALIKE]
        seen = [
            ChipWidth(number=n, group=group, mm=ratio * true, u_mm=u_rel * ratio * true)
            for n, (_, ratio, _, u_rel) in enumerate(dice.choices(like, k=count), 1)
        ]
        width = flat_width(seen)
        expected = true / SPREAD / cut
        said[width_state(width, (expected, 0.03 * expected))] += 1
        inside += abs(width[0] - true) <= 2 * width[1]
    return {name: n / jobs for name, n in said.items()}, inside / jobs


def main():
    for part in ("train", "calibration"):
        chips = strips(part)
        print(f"{part}: {len(chips)} ribbons and arcs")  # noqa: T201
        for count in (3, 5, 8):
            for cut in (1.0, 0.5, 1 / 3):
                said, inside = trials(chips, count=count, cut=cut, jobs=1000)
                words = ", ".join(f"{name} {100 * share:.1f} %" for name, share in said.items())
                print(  # noqa: T201
                    f"  {count} strips, {cut:.2f} of the width cut: {words}; "
                    f"within 2 u {100 * inside:.0f} %"
                )


if __name__ == "__main__":
    main()
