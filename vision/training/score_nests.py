"""How well what is snarled in a nest is told: of nests that were found and called one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vision.training.resample import ratio, share_over_scenes, share_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from vision.training.score import Named, SceneScore

__all__ = ["nest_figures", "nest_lines"]


def _nests(score: SceneScore) -> list[Named]:
    return [n for n in score.named if n.true == n.read == "nest"]


def nest_figures(scores: Sequence[SceneScore]) -> dict[str, Any]:
    """Return how many nests had their group told, how many of these rightly, and their sets."""
    every = [_nests(s) for s in scores]
    told = [[n for n in scene if n.read_form is not None] for scene in every]
    held = [(sum(n.true_form[0] in n.group_set for n in scene), len(scene)) for scene in every]
    return {
        "nests": sum(map(len, every)),
        "nests_told": sum(map(len, told)),
        "nests_right": share_over_scenes(
            [(sum(n.form_accepted for n in scene), len(scene)) for scene in told]
        ),
        "nests_held": share_over_scenes(held),
        "nests_size": ratio(
            sum(len(n.group_set) for scene in every for n in scene), sum(map(len, every))
        ),
    }


def nest_lines(out: dict[str, Any]) -> Iterator[str]:
    """Yield the figures of :func:`nest_figures` as text."""
    yield (
        f"nests: group told of {out['nests_told']} of {out['nests']}, of those right "
        f"{share_text(out['nests_right'])}; sets hold the true group "
        f"{share_text(out['nests_held'])}, groups in a set, mean {out['nests_size']:.2f}"
    )
