"""Characters that make a text read otherwise than it is stored, or that break what is made of it.

Those are control characters, those that set the direction of writing or are not seen (format characters of Unicode),
line and paragraph separators, letters of private use, which look otherwise on every machine, halves of characters, and
code points that are no characters (The Unicode Standard,
chapter 23; XML 1.0, 2.2 allows neither controls nor U+FFFE, U+FFFF). Signs that Arabic, Syriac and Kaithi write around
numbers are format characters too, but are seen: they stay.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

LAYOUT = frozenset("\t\n\r")
"""Controls that lay out a text of several lines."""
SEEN = frozenset("\u0600\u0601\u0602\u0603\u0604\u0605\u06dd\u070f\u0890\u0891\u08e2\U000110bd\U000110cd")
HIDING = frozenset({"Cc", "Cf", "Co", "Cs", "Zl", "Zp"})
SUBSTITUTE = "\ufffd"


def is_hidden(character: str) -> bool:
    """Whether a character is not seen, or is none; a tab and a line break are seen.

    >>> [is_hidden(one) for one in ("a", "\\t", "\\u202e", "\\u0301", "\\ufffe", "\\u061c")]
    [False, False, True, False, True, True]
    """
    if character in LAYOUT or character in SEEN:
        return False
    code = ord(character)
    return unicodedata.category(character) in HIDING or code & 0xFFFE == 0xFFFE or 0xFDD0 <= code <= 0xFDEF


def hidden_in(value: str) -> Iterator[str]:
    """The hidden characters of a text, in its order. None is printable, and that is asked of a whole text at once."""
    return iter(()) if value.isprintable() else filter(is_hidden, value)


def plain_text(value: str) -> str:
    """The text itself. Raises ValidationError for hidden characters, which make a text read otherwise than it is."""
    if hidden := sorted({f"U+{ord(character):04X}" for character in hidden_in(value)}):
        raise ValidationError(
            _("Remove the hidden character %(hidden)s: type the text again by hand.") % {"hidden": ", ".join(hidden)}
        )
    return value


def one_line(value: str) -> str:
    """The text itself, as :func:`plain_text`. Raises ValidationError too where it has several lines or a tab."""
    if LAYOUT & set(value):
        raise ValidationError(_("Write this in one line, without tabs."))
    return plain_text(value)


def harmless(value: str) -> str:
    """The text with a visible sign in place of each hidden character: for remarks, which are kept as they come.

    >>> harmless("a\\u202eb\\x00\\tc\\n") == "a\\ufffdb\\ufffd\\tc\\n"
    True
    """
    if value.isprintable():
        return value
    return "".join(SUBSTITUTE if is_hidden(character) else character for character in value)
