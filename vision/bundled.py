"""The package's own data files: the eye, the form model, the sizes.

The only place in this package that opens files, and only packaged ones.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from vision.chips.eye import Eye
from vision.chips.lie import LieNet
from vision.chips.sizing import SizeModel
from vision.errors import ModelUnreadable
from vision.forms.fitting import fit_model, read_table
from vision.forms.model import FormModel, load_model

__all__ = ["form_model", "packaged_eye", "read_data", "size_model"]


def read_data(name: str) -> bytes:
    """Return the bytes of a packaged data file; ``ModelUnreadable`` where it is missing."""
    try:
        return (files("vision") / "data" / name).read_bytes()
    except OSError as error:
        raise ModelUnreadable(f"The packaged file {name} is missing; reinstall.") from error


@cache
def packaged_eye() -> Eye:
    """Return the packaged look at what lies where."""
    eye = Eye(read_data("eye.onnx"), LieNet(read_data("lie.onnx")))
    eye.load()
    return eye


@cache
def form_model() -> FormModel:
    """Return the packaged form model, fitted again from its table where it will not load."""
    try:
        return load_model(read_data("forms.model"))
    except ModelUnreadable:
        # Other library versions than at packaging: the table is the knowledge.
        return fit_model(read_table(read_data("features.csv.gz")))


@cache
def size_model() -> SizeModel:
    """Return what tells a chip's sizes and their uncertainties."""
    return SizeModel.load(read_data("sizes.npz"))
