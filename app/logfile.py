"""A log file in the data folder for faults of the program; no photos and no notes go in."""

from __future__ import annotations

import contextlib
import logging
from logging.handlers import RotatingFileHandler

from app.errors import AppError
from app.settings import home

__all__ = ["LOG_NAME", "log_unexpected"]

LOG_NAME = "bluecurl.log"


def log_unexpected(error: BaseException) -> None:
    """Append an error with its traceback; where even that fails, say nothing more."""
    with contextlib.suppress(OSError, AppError):
        handler = RotatingFileHandler(
            home() / LOG_NAME, maxBytes=500_000, backupCount=2, encoding="utf-8"
        )
        handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
        record = logging.LogRecord(
            "bluecurl",
            logging.ERROR,
            __file__,
            0,
            "unexpected",
            None,
            (type(error), error, error.__traceback__),
        )
        with contextlib.closing(handler):
            handler.handle(record)
