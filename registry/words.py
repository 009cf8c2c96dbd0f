"""Words that stand in tables of modules: written once, in English, and said in the language of who reads them."""

from __future__ import annotations

from typing import cast

from django.utils.translation import gettext_lazy


def lazily(text: str) -> str:
    """The text in the language that holds when it is shown, not when the module is loaded.

    Behaves as text wherever it is put into text; `str()` makes it text that stays. Modules import it as `_`, the name
    that the gathering of messages looks for.
    """
    return cast(str, gettext_lazy(text))
