"""Everything that can go wrong with a case, as one small tree.

AdvisorError
    CaseInvalid      the description of the cut cannot be used; ``path`` names the field
    OutOfTable       well-formed, but our tables hold nothing for it
    LimitExceeded    no cut or plan exists inside the hard limits
    SourceMissing    a packaged value names no source: a fault of ours, caught by tests
"""

from __future__ import annotations

from typing import ClassVar

__all__ = ["AdvisorError", "CaseInvalid", "LimitExceeded", "OutOfTable", "SourceMissing"]


class AdvisorError(Exception):
    """Base of all errors of this package; ``code`` is stable, the text is for people."""

    code: ClassVar[str] = "advisor-error"

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


class CaseInvalid(AdvisorError):  # noqa: N818 - named after what is wrong
    """A field is missing, misspelt or out of range.

    Parameters
    ----------
    path : str
        The field, such as ``passes[0].cut.feed_mm_rev``.
    what, do : str
        What is wrong and why, and what to do: one sentence each.
    """

    code = "case-invalid"

    def __init__(self, path: str, what: str, do: str) -> None:
        super().__init__(f"{path}: {what} {do}" if path else f"{what} {do}")
        self.path = path
        self.what = what
        self.do = do

    def __reduce__(  # type: ignore[explicit-override]
        self,
    ) -> tuple[type[CaseInvalid], tuple[str, str, str]]:
        """Keep all three arguments, so that the error survives pickling."""
        return type(self), (self.path, self.what, self.do)


class OutOfTable(AdvisorError):  # noqa: N818
    """The metal asked for is not in the tables."""

    code = "outside-tables"


class LimitExceeded(AdvisorError):  # noqa: N818
    """Nothing settable on this lathe stays inside the hard limits."""

    code = "limit-exceeded"


class SourceMissing(AdvisorError):  # noqa: N818
    """A value in the packaged tables does not say where it comes from."""

    code = "source-missing"
