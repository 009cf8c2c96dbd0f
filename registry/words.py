"""Words that stand in tables of modules: written once, in English, and said in the language of who reads them."""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

from django.utils.functional import lazy
from django.utils.translation import gettext_lazy


def lazily(text: str) -> str:
    """The text in the language that holds when it is shown, not when the module is loaded.

    Behaves as text wherever it is put into text; `str()` makes it text that stays. Modules import it as `_`, the name
    that the gathering of messages looks for.
    """
    return cast(str, gettext_lazy(text))


def later(make: Callable[[], str]) -> str:
    """A text that is put together of others, made when it is shown: `later(lambda: _("Loop %s") % tag)`."""
    return lazy(make, str)()
