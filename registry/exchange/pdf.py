"""The text of a PDF, for :func:`registry.exchange.pasted_text.read_pasted_text`.

The file comes from outside and may be made to harm: it is read in a process of its own with limits on size, pages,
memory and time.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

MAX_BYTES = 20_000_000
MAX_PAGES = 80
MAX_CHARACTERS = 200_000
MAX_SECONDS = 60
"""Waiting for a reader that is starved; what it works is limited closer (pdf_reader.CPU_SECONDS)."""
READER = Path(__file__).with_name("pdf_reader.py")

_SAVE_PAGES = "save the pages with the parameters as a file of their own."
FAULTS = {
    "password": "This PDF is protected: open it yourself, copy the text and paste it here.",
    "pages": f"This PDF has more than {MAX_PAGES} pages: {_SAVE_PAGES}",
    "long": f"This PDF holds more text than a certificate does: {_SAVE_PAGES}",
    "empty": "This PDF holds no text, only pictures of pages: type the values by hand.",
    "broken": "This file cannot be read as a PDF: open it yourself, copy the text and paste it here.",
    "heavy": "This PDF takes too long to read: open it yourself, copy the text and paste it here.",
    "large": f"This file is larger than {MAX_BYTES // 1_000_000} MB: {_SAVE_PAGES}",
}


class PdfError(ValueError):
    """The text cannot be had; `str(error)` is one sentence with the cure."""


def pdf_text(content: bytes) -> str:
    """The text of a PDF, page after page with an empty line between. Raises PdfError."""
    if len(content) > MAX_BYTES:
        raise PdfError(FAULTS["large"])
    if b"%PDF-" not in content[:1024]:
        raise PdfError(FAULTS["broken"])
    command = [sys.executable, "-I", str(READER), str(MAX_PAGES), str(MAX_CHARACTERS)]
    try:
        done = subprocess.run(command, input=content, capture_output=True, timeout=MAX_SECONDS, check=False)  # noqa: S603
        if done.returncode < 0:
            raise PdfError(FAULTS["heavy"])
        answer = json.loads(done.stdout)
    except subprocess.TimeoutExpired as error:
        raise PdfError(FAULTS["heavy"]) from error
    except ValueError as error:
        raise PdfError(FAULTS["broken"]) from error
    if "text" not in answer:
        raise PdfError(FAULTS[answer["fault"]])
    return answer["text"]
