"""What ``bluecurl read`` and ``bluecurl demo`` do with photos."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from app import engine
from app.answers import Answers, json_line, load_case
from app.errors import UsageInvalid
from app.intake import Incoming, find_photos, read_file
from app.plain import advice_lines, reading_lines
from app.settings import is_check_line
from app.show import Units
from app.tables import reading_csv_header, reading_csv_rows
from app.translate import metal_of, with_reading
from app.wording import error_message

if TYPE_CHECKING:
    from collections.abc import Callable

    from app.demo import Demo

__all__ = ["ReadOptions", "neutral_of", "read_photos", "show_demo"]

Json = dict[str, Any]

#: Densities, in px/mm, that a photo of chips can have: a desk from afar, a microscope.
PX_PER_MM = (0.5, 500.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOptions:
    """Options of ``read``; lengths in mm, density in px/mm.

    Raises
    ------
    UsageInvalid
        If a value cannot be right.
    """

    layout: Literal["json", "csv", "text"] = "text"
    overlay: Path | None = None
    px_per_mm: float | None = None
    neutral_px: tuple[float, float] | None = None
    check_line_mm: float = 100.0
    one_pass: bool = False
    need_card: bool = False
    units: Units = Units.METRIC

    def __post_init__(self) -> None:
        if self.px_per_mm is not None and not (PX_PER_MM[0] <= self.px_per_mm <= PX_PER_MM[1]):
            raise UsageInvalid(f"--px-per-mm {self.px_per_mm:g} is not 0.5 to 500")
        if not is_check_line(self.check_line_mm):
            raise UsageInvalid(
                f"--check-line-mm {self.check_line_mm:g} is not 80 to 120; print at 100 %"
            )


class _Run:
    """One run of ``read``: the case, the options and where the answers go."""

    def __init__(self, answers: Answers, case: Json | None, options: ReadOptions) -> None:
        self.answers = answers
        self.case = case
        self.options = options
        self.drawn: set[str] = set()

    def read(self, photo: Incoming) -> engine.ReadPhoto:
        options = self.options
        reading = engine.read_bytes(
            photo.data,
            photo.name,
            px_per_mm=options.px_per_mm,
            neutral_px=options.neutral_px,
            check_line_mm=options.check_line_mm,
            need_card=options.need_card,
            metal=metal_of(self.case) if self.case else None,
            progress=_progress(photo.name),
        )
        if options.neutral_px is not None:
            _judge_neutral(photo.name, reading.json, options.neutral_px)
        if not options.one_pass:  # numbers of several photos are known when all are read
            self.draw(photo, reading)
        return reading

    def together(self, paths: list[Path], readings: list[engine.ReadPhoto]) -> None:
        """Answer with one reading of several photos, drawn with its numbers."""
        whole = engine.combine(readings)
        if self.options.overlay is not None:
            for path, part in zip(paths, engine.own_parts(whole, readings), strict=True):
                self.draw(read_file(path), part)
        self.give(whole)

    def draw(self, photo: Incoming, reading: engine.ReadPhoto) -> None:
        """Write the photo with its outlines, where a folder is asked for."""
        folder = self.options.overlay
        if folder is None:
            return
        name = f"{Path(photo.name).stem}-chips.jpg"
        if name in self.drawn:  # photos of the same name from two folders
            name = f"{Path(photo.name).stem}-{photo.sha256[:8]}-chips.jpg"
        self.drawn.add(name)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(engine.picture(photo.data, reading))
        except OSError as error:
            raise UsageInvalid(
                f"cannot write to {folder}: {error.strerror or error}"
            ) from error

    def _with_gauges(self, reading: Json) -> Json:
        """Return a reading with what its chips say of the cut, where that is known."""
        if self.case is None:
            return reading
        return {**reading, "gauges": _gauges(with_reading(self.case, reading))}

    def give(self, reading: engine.ReadPhoto) -> None:
        """Print one reading, in the layout asked for."""
        layout = self.options.layout
        if layout == "json":
            self.answers.say(json_line(self._with_gauges(reading.json)))
        elif layout == "csv":
            for row in reading_csv_rows(reading.json):
                self.answers.say(row)
        else:
            self.answers.say("\n".join(reading_lines(reading.json, self.options.units)))
            if self.case is not None:
                case = with_reading(self.case, reading.json)
                advice = engine.advise_case(case, self.options.units)
                self.answers.say("\n".join(advice_lines(advice, self.options.units)))


def neutral_of(text: str) -> tuple[float, float]:
    """Return the pixel that ``--neutral`` names, "X,Y" in the upright photo.

    Raises
    ------
    UsageInvalid
        If it is no pair of numbers from 0 on.
    """
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        x = y = -1.0
    if not (0 <= x < float("inf") and 0 <= y < float("inf")):
        raise UsageInvalid(f"--neutral {text} is not X,Y in pixels of the upright photo")
    return x, y


def _judge_neutral(name: str, reading: Json, at_px: tuple[float, float]) -> None:
    """Tell where the pixel that was named could not serve as a neutral.

    Raises
    ------
    UsageInvalid
        If it lies outside the photo.
    """
    width, height = reading["size_px"]
    where = f"--neutral {at_px[0]:g},{at_px[1]:g}"
    if at_px[0] >= width or at_px[1] >= height:
        raise UsageInvalid(f"{where} lies outside the photo of {width} x {height} px")
    if any(flag["code"] == "no-neutral" for flag in reading["flags"]):
        sys.stderr.write(f"{name}: {where} is not even, grey and well lit; no tint is read.\n")


def _gauges(case: Json) -> Json | None:
    """Return the gauges of a case; one that the advisor refuses is told and gives none."""
    try:
        return engine.gauges(case)
    except Exception as error:  # noqa: BLE001 - the reading stands without its cut
        sys.stderr.write(f"{error_message(error)}\n")
        return None


def read_photos(
    answers: Answers, paths: list[Path], case_path: Path | None, options: ReadOptions
) -> None:
    """Read photos and folders in order and print each answer; a bad photo stops no other.

    Raises
    ------
    CaseInvalidText
        If the case cannot be read; no photo is read then.
    """
    case = None if case_path is None else load_case(case_path)
    run = _Run(answers, case, options)
    if options.layout == "csv":
        answers.say(reading_csv_header())
    together: list[engine.ReadPhoto] = []
    read: list[Path] = []
    for path in find_photos(paths):

        def work(path: Path = path) -> None:
            reading = run.read(read_file(path))
            if options.one_pass:
                together.append(reading)
                read.append(path)
            else:
                run.give(reading)

        answers.attempt(work, photo=path.name)
    if together:
        names = ", ".join(reading.json["photo"] for reading in together)
        answers.attempt(lambda: run.together(read, together), photo=names)


def show_demo(answers: Answers, demo: Demo, units: Units) -> None:
    """Print the reading of a demo photo and the advice for its cut; keeps nothing."""
    sys.stderr.write("Demo photo, rendered; the cut is invented too.\n")
    run = _Run(answers, demo.case(), ReadOptions(units=units))
    run.give(run.read(read_file(demo.photo)))


def _progress(name: str) -> Callable[[str, float], None] | None:
    """Stages on standard error while a person looks on; nothing for scripts."""
    if not sys.stderr.isatty():
        return None

    def tell(stage: str, share: float) -> None:
        done = share >= 1
        text = "" if done else f"{name}: {stage} {100 * share:.0f} %"
        sys.stderr.write(f"\r\x1b[K{text}")
        sys.stderr.flush()

    return tell
