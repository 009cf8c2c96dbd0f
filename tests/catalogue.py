"""The catalogues of other languages: gather what the program says, keep the catalogue, compile it.

``python -m tests.catalogue`` puts new messages into each catalogue, untranslated, takes out what is said no more, and
compiles it. Translate what it lists, then run it again. tests/architecture/test_catalogue.py fails while a message has
no translation or the compiled file is older than the text.
"""

from __future__ import annotations

import datetime as dt
import io
import os
import re
from collections.abc import Iterator
from pathlib import Path

from babel.messages import Catalog, Message
from babel.messages.extract import extract_python
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).resolve().parents[1]
LANGUAGES = ("de",)
KEYWORDS = {
    "_": None,
    "gettext": None,
    "gettext_lazy": None,
    "gettext_noop": None,
    "lazily": None,
    "ngettext": (1, 2),
    "ngettext_lazy": (1, 2),
    "pgettext": ((1, "c"), 2),
    "npgettext": ((1, "c"), 2, 3),
}
UNTRANSLATED = {"templates/styles.html"}
"""Shown to whoever works on the pages themselves."""
PLACEHOLDER = re.compile(r"%\(\w+\)[a-z]|%[sdg]|%%|\{\w*(?::q)?\}")

Key = tuple[str | None, str, str | None]
"""Context, message, its plural."""


def messages() -> Iterator[Key]:
    """Everything that the program says and that can be translated."""
    from django.utils.translation.template import templatize

    for folder in ("templates", "registry", "loops", "reports", "deploy"):
        for path in sorted((ROOT / folder).rglob("*")):
            name = path.relative_to(ROOT).as_posix()
            if folder == "templates" and path.suffix in (".html", ".txt") and name not in UNTRANSLATED:
                source = templatize(path.read_text(), origin=name)
            elif path.suffix == ".py":
                source = path.read_text()
            else:
                continue
            for _, function, found, _ in extract_python(
                io.BytesIO(source.encode()), KEYWORDS, [], {"encoding": "utf-8"}
            ):
                yield from keys(function, found)


def keys(function: str, found: str | tuple[str | None, ...] | None) -> Iterator[Key]:
    """The message of one call; none where it is no text that stands there."""
    texts = (found,) if found is None or isinstance(found, str) else tuple(found)
    if not all(isinstance(text, str) for text in texts[:2]):
        return
    if function == "pgettext":
        yield texts[0], str(texts[1]), None
    elif function.startswith("ngettext"):
        yield None, str(texts[0]), texts[1]
    elif function == "npgettext":
        yield texts[0], str(texts[1]), texts[2]
    elif texts[0]:
        yield None, str(texts[0]), None


def key_of(message: Message) -> Key:
    if isinstance(message.id, str):
        return message.context, message.id, None
    return message.context, message.id[0], message.id[1]


def path_of(language: str) -> Path:
    return ROOT / "templates" / "locale" / language / "LC_MESSAGES" / "django.po"


def read(language: str) -> Catalog:
    with path_of(language).open("rb") as file:
        return read_po(file, locale=language)


def translations(catalogue: Catalog) -> dict[Key, tuple[str, ...]]:
    """Every message with its translation, the plural behind the singular."""
    return {
        key_of(message): (message.string,) if isinstance(message.string, str) else tuple(message.string)
        for message in catalogue
        if message.id
    }


def compiled(catalogue: Catalog) -> bytes:
    out = io.BytesIO()
    write_mo(out, catalogue)
    return out.getvalue()


def update(language: str, known: dict[Key, tuple[str, ...]] | None = None) -> list[Key]:
    """Bring a catalogue up to what the program says; what has no translation yet."""
    old = read(language)
    known = translations(old) | (known or {})
    fixed = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
    new = Catalog(
        locale=language,
        project="Unlit",
        header_comment=old.header_comment,
        creation_date=fixed,
        revision_date=fixed,
        fuzzy=False,
        charset="utf-8",
    )
    missing = []
    plain: dict[tuple[str | None, str], Key] = {}
    for context, text, plural in messages():
        # One message may be said with and without a plural: the one with a plural serves both.
        if plural is not None or (context, text) not in plain:
            plain[context, text] = (context, text, plural)
    for key in plain.values():
        context, text, plural = key
        told = known.get(key, ())
        if not told or not all(told):
            missing.append(key)
        new.add(
            text if plural is None else (text, plural),
            (told[0] if told else "") if plural is None else told,
            context=context,
        )
    path = path_of(language)
    with path.open("wb") as file:
        write_po(file, new, width=120, no_location=True, sort_output=True)
    path.with_suffix(".mo").write_bytes(compiled(new))
    return missing


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    os.environ.setdefault("UNLIT_MODE", "local")
    for language in LANGUAGES:
        for context, text, _plural in update(language):
            print(f"{language}: {context or ''} {text!r}")


if __name__ == "__main__":
    main()
