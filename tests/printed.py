"""What a printed sheet says, whatever its line breaks."""

from __future__ import annotations

import io
import re

from pypdf import PdfReader

__all__ = ["printed", "squeezed"]


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", text)


def printed(data: bytes) -> str:
    """All the text of a PDF, squeezed."""
    return squeezed("".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages))
