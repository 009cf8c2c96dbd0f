"""Reads the text of a PDF in a process of its own, which may be stopped: run by :mod:`registry.exchange.pdf`.

Stands alone: only the standard library and pypdf are imported. Reads the file from standard input; writes one JSON
object, `{"text": …}` or `{"fault": …}`.
"""

import io
import json
import logging
import resource
import sys

MEMORY_BYTES = 1_500_000_000
CPU_SECONDS = 20
"""Work, not waiting: on a machine that is busy with other things, a file is read slower but read."""


def text_of(content: bytes, most_pages: int, most_characters: int) -> dict[str, str]:
    """The text, page after page, or a fault named by one word."""
    import pypdf
    from pypdf.errors import DependencyError, PyPdfError

    try:
        reader = pypdf.PdfReader(io.BytesIO(content))
        if reader.is_encrypted and not reader.decrypt(""):
            return {"fault": "password"}
        if len(reader.pages) > most_pages:
            return {"fault": "pages"}
        texts: list[str] = []
        length = 0
        for page in reader.pages:
            texts.append(page.extract_text())
            length += len(texts[-1])
            if length > most_characters:
                return {"fault": "long"}
    except DependencyError:
        return {"fault": "password"}
    except MemoryError:
        return {"fault": "heavy"}
    except (
        PyPdfError,
        ValueError,
        KeyError,
        TypeError,
        AttributeError,
        IndexError,
        RecursionError,
        OSError,
        ArithmeticError,
    ):
        return {"fault": "broken"}
    text = "\n\n".join(texts)
    return {"text": text} if text.strip() else {"fault": "empty"}


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    logging.disable(logging.CRITICAL)
    answer = text_of(sys.stdin.buffer.read(), int(sys.argv[1]), int(sys.argv[2]))
    sys.stdout.write(json.dumps(answer))
