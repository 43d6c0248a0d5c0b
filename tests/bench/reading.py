"""What a whole reading costs, in units of decoding the photo.

Numerator: ``vision.read_photo(bytes)`` to a JSON-ready result. Denominator:
``Image.open(BytesIO(bytes)).convert("RGB")`` to an array, no profile, no rotation. Each
side is a process of its own with one thread on one core; three warm-up runs are dropped;
then both take turns. CPU time includes the kernel. Photos must be native 12 megapixels.

    python tests/bench/reading.py                  three drawn photos: JPEG, P3 turned, HEIC
    python tests/bench/reading.py PHOTO...         photos of your own
    python tests/bench/reading.py --memory [...]   also the rise of peak memory over what
                                                   imports and loaded models take
    python tests/bench/reading.py --front [...]    only up to card and light: no chips
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from costs import (
    RUNS,
    WARM_UPS,
    decoding,
    one_core,
    one_thread,
    serve,
    take_turns,
    whole_reading,
)

PIXELS_MIN = 12_000_000


def worker(side: str, warm_ups: int, path: Path) -> None:
    """Be one side of the comparison."""
    one_thread()
    data = path.read_bytes()
    if side == "front":
        from vision.photo.opened import open_photo

        serve(lambda: open_photo(data, need_card=True), warm_ups)
    else:
        serve((whole_reading if side == "read" else decoding)(data), warm_ups)


def drawn_photos(folder: Path) -> list[Path]:
    """Draw the card with curls on it as a 12-megapixel camera would see it; three files."""
    import cv2
    import numpy as np
    import pillow_heif
    from PIL import Image

    from vision.photo.card import CARDS, card_image
    from vision.training.icc import display_p3_profile

    rng = np.random.default_rng(12)
    spec = CARDS["a5"]
    sheet = card_image(spec, 16)
    for _ in range(9):
        at = (int(rng.uniform(50, 160) * 16), int(rng.uniform(45, 92) * 16))
        axes = (int(rng.uniform(3, 8) * 16), int(rng.uniform(2, 5) * 16))
        shade = tuple(int(v) for v in rng.uniform(60, 150, 3))
        turn = rng.uniform(0, 180)
        cv2.ellipse(sheet, at, axes, turn, 0, 290, shade, 14, cv2.LINE_AA)
    height, width = sheet.shape[:2]
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    seen = np.array([[350, 330], [3690, 300], [3760, 2700], [260, 2680]], np.float32)
    matrix = cv2.getPerspectiveTransform(corners, seen)
    table = (96, 90, 84)
    photo = cv2.warpPerspective(
        sheet, matrix, (4000, 3000), borderMode=cv2.BORDER_CONSTANT, borderValue=table
    )
    shaded = photo * np.array([0.86, 0.82, 0.74]) + rng.normal(0, 8, photo.shape)
    rgb = np.clip(shaded, 0, 255).astype(np.uint8)
    plain, turned, heic = folder / "srgb.jpg", folder / "p3_turned.jpg", folder / "photo.heic"
    Image.fromarray(rgb).save(plain, quality=92)
    tags = Image.Exif()
    tags[0x0112] = 6
    on_its_side = Image.fromarray(np.ascontiguousarray(np.rot90(rgb)))
    on_its_side.save(turned, quality=92, exif=tags.tobytes(), icc_profile=display_p3_profile())
    pillow_heif.from_pillow(Image.fromarray(rgb)).save(heic, quality=50)
    return [plain, turned, heic]


def report(path: Path, what: str, *, memory: bool) -> None:
    """Print one line for one photo."""
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener()
    with Image.open(path) as image:
        pixels = image.width * image.height
    note = "" if pixels >= PIXELS_MIN else "  (under 12 megapixels: no figure)"
    costs = take_turns(__file__, path, dict.fromkeys((what, "decode"), (WARM_UPS, RUNS)))
    read, decode = costs[what].median_s, costs["decode"].median_s
    line = (
        f"{path.name:16s} {path.stat().st_size / 1e6:5.2f} MB  {what} {read * 1e3:7.1f} ms  "
        f"decode {decode * 1e3:6.1f} ms  ratio {read / decode:5.2f}{note}"
    )
    if memory:
        line += f"  memory {costs[what].rise_bytes / (3 * pixels):4.2f} x the picture"
    print(line, flush=True)  # noqa: T201


def main() -> int:
    """Measure the given photos, or three drawn ones."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("photos", nargs="*", type=Path)
    parser.add_argument("--memory", action="store_true")
    parser.add_argument("--front", action="store_true")
    parser.add_argument("--worker", nargs=3, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    one_core()
    if arguments.worker:
        side, warm_ups, path = arguments.worker
        worker(side, int(warm_ups), Path(path))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        for path in arguments.photos or drawn_photos(Path(folder)):
            report(path, "front" if arguments.front else "read", memory=arguments.memory)
    return 0


if __name__ == "__main__":
    sys.exit(main())
