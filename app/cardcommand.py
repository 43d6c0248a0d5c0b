"""Write the reference card to a file; the reader is imported only for that."""

# ruff: noqa: PLC0415

from __future__ import annotations

from typing import TYPE_CHECKING

from app.errors import UsageInvalid

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["card_bytes", "card_sizes", "write_card"]


def card_sizes() -> list[str]:
    """Return the names of the card's sizes."""
    from vision.photo.card import CARDS

    return list(CARDS)


def card_bytes(size: str, suffix: str, *, px_per_mm: float = 12.0) -> bytes:
    """Return the card as the content of a ``.pdf`` or ``.png`` file.

    Raises
    ------
    UsageInvalid
        For another size or another kind of file.
    """
    from vision.photo.card import CARDS, card_pdf, card_png

    spec = CARDS.get(size.lower())
    if spec is None:
        raise UsageInvalid(f"there is no card of size {size}, only {', '.join(CARDS)}")
    if suffix.lower() == ".pdf":
        return card_pdf(spec)
    if suffix.lower() == ".png":
        return card_png(spec, px_per_mm)
    raise UsageInvalid(
        f"a card is written as .pdf or .png, not as {suffix or 'a name without ending'}"
    )


def write_card(out: Path, *, size: str, px_per_mm: float) -> str:
    """Write the card and return what to tell: where it is and how large it must print."""
    data = card_bytes(size, out.suffix, px_per_mm=px_per_mm)
    try:
        out.write_bytes(data)
    except OSError as error:
        raise UsageInvalid(f"cannot write {out}: {error.strerror or error}") from error
    return f"{out}: {_physical_size(size)}. Print at 100 %, then measure the 100 mm line."


def _physical_size(size: str) -> str:
    from vision.photo.card import CARDS

    spec = CARDS[size.lower()]
    return f"{spec.width_mm:g} x {spec.height_mm:g} mm"
