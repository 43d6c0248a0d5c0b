"""What the commands print: one answer for each input, errors in their place, one exit code.

Also the reading of cases from a file or standard input, line by line.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.errors import UNEXPECTED, AppError, code_of, exit_code_of
from app.logfile import log_unexpected
from app.wording import error_message

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

__all__ = [
    "ERROR_SCHEMA",
    "Answers",
    "CaseInvalidText",
    "cases_in",
    "json_line",
    "load_case",
    "read_cases",
]

ERROR_SCHEMA = "bluecurl.error/1"

Json = dict[str, Any]


class CaseInvalidText(AppError):  # noqa: N818
    """The text of a case is no JSON object; the advisor never gets to see it."""

    code = "case-invalid"


def json_line(answer: Json) -> str:
    """Return one line of JSON Lines; what JSON cannot hold is a fault of ours and raises."""
    return json.dumps(answer, ensure_ascii=False, allow_nan=False, separators=(", ", ": "))


class Answers:
    """Collects the answers of one command.

    Parameters
    ----------
    as_json : bool
        Whether errors are lines of data, or sentences on standard error.
    """

    def __init__(self, *, as_json: bool) -> None:
        self._as_json = as_json
        self.exit_code = 0

    def say(self, text: str) -> None:
        """Print data."""
        sys.stdout.write(text + "\n")
        sys.stdout.flush()

    def fail(self, error: Exception, **where: Any) -> None:  # noqa: ANN401
        """Print an error in the place of its answer; the first one sets the exit code."""
        code = code_of(error)
        message = error_message(error)
        if code == UNEXPECTED:
            _keep_details(error)
        if self._as_json:
            self.say(
                json_line({"schema": ERROR_SCHEMA, **where, "code": code, "message": message})
            )
        else:
            place = " ".join(f"line {v}" if k == "line" else str(v) for k, v in where.items())
            sys.stderr.write(f"{place}: {message}\n" if place else f"{message}\n")
        self.note(exit_code_of(code))

    def note(self, exit_code: int) -> None:
        """Remember an exit code unless an earlier input failed already."""
        self.exit_code = self.exit_code or exit_code

    def attempt(self, work: Callable[[], None], **where: Any) -> None:  # noqa: ANN401
        """Run the work for one input; its error must not stop the others."""
        try:
            work()
        except BrokenPipeError:
            raise
        except Exception as error:  # noqa: BLE001
            self.fail(error, **where)


def _keep_details(error: Exception) -> None:
    """Write a traceback to the log file, for whoever looks for the fault."""
    log_unexpected(error)


def load_case(path: Path) -> Json:
    """Return the single case in a file.

    Raises
    ------
    CaseInvalidText
        If there is no file, or it does not hold exactly one JSON object.
    """
    found = list(cases_in(_text(str(path))))
    if len(found) != 1:
        raise CaseInvalidText(f"{path} holds {len(found)} cases, not one")
    _, case = found[0]
    if isinstance(case, AppError):
        raise case
    return case


def read_cases(source: str) -> Iterator[tuple[int, Json | CaseInvalidText]]:
    """Yield the cases of a file, or of standard input for ``-``, with their line numbers."""
    try:
        text = _text(source)
    except CaseInvalidText as error:
        yield 1, error
        return
    yield from cases_in(text)


def _text(source: str) -> str:
    try:
        raw = sys.stdin.buffer.read() if source == "-" else Path(source).read_bytes()
    except OSError as error:
        raise CaseInvalidText(f"{source}: {error.strerror or error}") from error
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise CaseInvalidText(
            f"it is not UTF-8 text: {error.reason} at byte {error.start}"
        ) from error


def cases_in(text: str) -> Iterator[tuple[int, Json | CaseInvalidText]]:
    """Yield (line number, case or error) for one JSON document or for JSON Lines.

    A document spread over several lines is one case and has the number of its first
    line; otherwise every line that is not blank is a case of its own.
    """
    lines = [(n, line) for n, line in enumerate(text.split("\n"), 1) if line.strip()]
    if not lines:
        yield 1, CaseInvalidText("it is empty")
        return
    whole = _object(text)
    if len(lines) == 1 or isinstance(whole, dict) or _is_spread_out(lines):
        yield lines[0][0], whole
        return
    for number, line in lines:
        yield number, _object(line)


def _is_spread_out(lines: list[tuple[int, str]]) -> bool:
    """Whether a broken text was meant as one document: it opens and does not close its line."""
    first = lines[0][1].strip()
    return first.startswith("{") and not first.endswith("}")


def _object(text: str) -> Json | CaseInvalidText:
    try:
        value = json.loads(text, parse_constant=_no_constant)
    except RecursionError:
        return CaseInvalidText("it is nested too deeply")
    except ValueError as error:
        return CaseInvalidText(f"it is not JSON: {error}")
    if not isinstance(value, dict):
        return CaseInvalidText("it is not a JSON object")
    return value


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not a number in JSON")
