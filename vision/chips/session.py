"""Running a packaged network: one thread, nothing kept between pictures."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import onnxruntime

from vision.errors import ModelUnreadable

__all__ = ["session"]


@lru_cache(maxsize=4)
def session(onnx: bytes) -> Any:  # noqa: ANN401 - the library's types are not public
    """Return the session of a network, loaded once.

    Raises
    ------
    ModelUnreadable
        The network's file is damaged.
    """
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    # Pictures differ in size: memory kept for the next one would mostly be kept for nothing.
    options.enable_cpu_mem_arena = False
    options.log_severity_level = 3
    try:
        return onnxruntime.InferenceSession(onnx, options, providers=["CPUExecutionProvider"])
    except Exception as error:  # the library's types are not public
        raise ModelUnreadable("The packaged network is damaged; reinstall.") from error
