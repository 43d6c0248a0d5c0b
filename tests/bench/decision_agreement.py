"""Does a read form lead to the advice that the true form leads to?

Run as ``python tests/bench/decision_agreement.py --scenes DIR``: rendered photos with truth.
Each chip that is found and named with sureness stands for the chips of an invented cut, of nine
metals in turn, once under the code that was read and once under the true one. Printed is how
often both get the same verdict and the same lever moved the same way, and, for comparison, how
often the true code of a chip drawn by lot would have got it too.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

import cv2

import advisor
from vision.training.evaluate import score_folder
from vision.training.pool import cores
from vision.training.resample import ratio, share_over_scenes, share_text

#: Free-cutting and sticky, hard and soft (common practice, no source).
METALS = ("303", "304", "316", "Ti-6Al-4V", "1045", "O1", "12L14", "6061", "C360")


def case_of(metal, form):
    """A roughing cut of a bar on a small lathe with hand-ground steel; all invented."""
    cut = {"direction": "along", "spindle_rev_min": 430, "feed_mm_rev": 0.1, "depth_mm": 0.5}
    signs = {"form": form, "share": 1.0, "sure": True, "tint": "bright"}
    return {
        "schema": "bluecurl.case/1",
        "work": {
            "material": metal,
            "diameter_mm": 16.0,
            "stickout_mm": 30,
            "target_diameter_mm": 8.0,
        },
        "edge": {"material": "HSS", "rake_deg": 12, "kapr_deg": 90, "re_mm": 0.3},
        "lathe": {
            "power_w": 400,
            "spindle_rev_min": [160, 260, 430, 700, 900, 1150, 1900],
            "feeds_mm_rev": [0.04, 0.06, 0.1, 0.15],
        },
        "passes": [
            {"cut": {**cut, "coolant": "cutting oil", "diameter_mm": 16.0}, "signs": signs}
        ],
    }


def move_of(case):
    """What an advice comes to: its verdict, its lever, and which way that goes."""
    advice = advisor.advise(advisor.parse_case(case))
    change = advice.change
    if change is None:
        return advice.verdict, None, None
    way = change.to
    if isinstance(change.from_, (int, float)) and isinstance(change.to, (int, float)):
        way = "up" if change.to > change.from_ else "down"
    return advice.verdict, change.lever, str(way)


def moves_of(forms):
    """The moves that each form leads to, metal by metal."""
    return {form: [move_of(case_of(metal, form)) for metal in METALS] for form in forms}


def alike(one, other):
    """In how many metals two forms lead to the same move."""
    return sum(a == b for a, b in zip(one, other, strict=True))


def main():
    """Print the shares."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=Path, required=True)
    parser.add_argument("--workers", type=int, default=cores())
    args = parser.parse_args()
    cv2.setNumThreads(1)
    scores = [s for s in score_folder(args.scenes, workers=args.workers) if s.card]
    sure = [[n for n in s.named if n.sure and n.read_form is not None] for s in scores]
    forms = {f for scene in sure for n in scene for f in (n.read_form, n.true_form)}
    moves = moves_of(sorted(forms))
    agreed = [
        (
            sum(alike(moves[n.read_form], moves[n.true_form]) for n in scene),
            len(METALS) * len(scene),
        )
        for scene in sure
    ]
    chips = [n for scene in sure for n in scene]
    true = Counter(n.true_form for n in chips)
    chance = sum(
        count * alike(moves[n.read_form], moves[form])
        for n in chips
        for form, count in true.items()
    )
    code = sum(n.read_form == n.true_form for n in chips)
    say = sys.stdout.write
    say(f"{len(chips)} chips named with sureness on {len(scores)} photos with a card\n")
    say(f"code right: {ratio(code, len(chips)):.3f}\n")
    say(f"the advice of the true code: {share_text(share_over_scenes(agreed))}\n")
    by_chance = ratio(chance, len(METALS) * len(chips) ** 2)
    say(f"the advice of the true code of a chip by lot: {by_chance:.3f}\n")


if __name__ == "__main__":
    main()
