"""Text of templates that nobody can translate: words outside of `translate` and `blocktranslate`."""

import re
from html.parser import HTMLParser

PIECES = re.compile(r"{%.*?%}|{{.*?}}|{#.*?#}", re.DOTALL)
TOLD = re.compile(r"{%\s*(blocktranslate|comment)\b.*?{%\s*end\1\s*%}", re.DOTALL)
ATTRIBUTES = frozenset({"alt", "aria-label", "data-label", "placeholder", "summary", "title"})
WITHOUT_TEXT = frozenset({"script", "style", "svg"})
ARGUMENTS = re.compile(r"""\b(?:action|caption|heading|label|legend|note|text|title)=(["'])(.*?)\1""")
FALLBACKS = re.compile(r"""\|default(?:_if_none)?:(["'])(.*?)\1""")
VALUES = frozenset({"off", "search", "text"})  # of attributes of elements
WORD = re.compile(r"[^\W\d_][\w./-]*")

# The same in every language: the product, symbols of standards, units, and abbreviations that are names.
SYMBOLS = (
    "Unlit Uo Io Po Co Lo Lo/Ro Ui Ii Pi Ci Li Um Uq Ex U I P C L X m V mA F H IS EPL IEC UTC SHA-256 QR "
    "CSV XLSX PDF JSON AASX HART FISCO ATEX IECEx"
)
THE_SAME = frozenset(SYMBOLS.split())


class Reader(HTMLParser):
    """Gathers what a browser would show or read out."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.skipping = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        described = tag == "meta" and ("name", "description") in attrs
        self.found += [
            text for name, text in attrs if text and (name in ATTRIBUTES or (described and name == "content"))
        ]
        if tag in WITHOUT_TEXT and not self.skipping:
            self.skipping = tag

    def handle_endtag(self, tag: str) -> None:
        if tag == self.skipping:
            self.skipping = ""

    def handle_data(self, data: str) -> None:
        if not self.skipping:
            self.found.append(data)


def naked(template: str) -> list[str]:
    """What of a template's text is not translated, each piece once."""
    untold = TOLD.sub("\0", template)
    found = []
    for piece in PIECES.findall(untold):
        if not piece.startswith("{#"):
            found += [text for _, text in FALLBACKS.findall(piece) if text not in VALUES and not text.startswith("/")]
        if re.match(r"{%\s*(include|with)\b", piece):
            found += [text for _, text in ARGUMENTS.findall(piece)]
    reader = Reader()
    reader.feed(PIECES.sub(" \0 ", untold))  # apart, or a piece would become part of the name of a tag
    reader.close()
    found += [part for text in reader.found for part in text.split("\0")]
    return list(dict.fromkeys(text.strip() for text in found if words(text)))


def words(text: str) -> list[str]:
    """The words of a text that differ between languages."""
    return [word for word in WORD.findall(text) if word.strip(".") not in THE_SAME]
