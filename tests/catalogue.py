"""The catalogues of other languages: gather what the program says, keep the catalogue, compile it.

``python -m tests.catalogue`` puts new messages into each catalogue, untranslated, takes out what is said no more, and
compiles it. Translate what it lists, then run it again. tests/architecture/test_catalogue.py fails while a message has
no translation or the compiled file is older than the text.
"""

from __future__ import annotations

import ast
import datetime as dt
import io
import os
import re
from collections.abc import Iterator
from pathlib import Path

from babel.messages import Catalog, Message
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).resolve().parents[1]
LANGUAGES = ("de",)
CALLS = {
    "_": (None, 0, None),
    "gettext": (None, 0, None),
    "gettext_lazy": (None, 0, None),
    "gettext_noop": (None, 0, None),
    "lazily": (None, 0, None),
    "ngettext": (None, 0, 1),
    "ngettext_lazy": (None, 0, 1),
    "pgettext": (0, 1, None),
    "pgettext_lazy": (0, 1, None),
    "npgettext": (0, 1, 2),
}
"""Where the context, the message and its plural stand among what a function is given."""
QUOTED = r"""u?(?:"(?:[^"\\]|\\.)*"|'(?:[^'\\]|\\.)*')"""
CALLED = re.compile(rf"\b(_|n?p?gettext)\(\s*({QUOTED}(?:\s*,\s*{QUOTED})*)[^)]*\)")
UNTRANSLATED = {"templates/styles.html"}
"""Shown to whoever works on the pages themselves."""
PLACEHOLDER = re.compile(r"%\(\w+\)[a-z]|%[sdg]|%%|\{\w*(?::q)?\}")

Key = tuple[str | None, str, str | None]
"""Context, message, its plural."""


def messages() -> Iterator[Key]:
    """Everything that the program says and that can be translated."""
    for folder in ("templates", "registry", "loops", "reports", "deploy"):
        for path in sorted((ROOT / folder).rglob("*")):
            name = path.relative_to(ROOT).as_posix()
            if folder == "templates" and path.suffix in (".html", ".txt") and name not in UNTRANSLATED:
                yield from of_template(path.read_text(), name)
            elif path.suffix == ".py":
                yield from of_module(path.read_text())


def of_template(source: str, name: str) -> Iterator[Key]:
    """Django turns a template into calls of gettext, with everything else blanked out."""
    from django.utils.translation.template import templatize

    for call in CALLED.finditer(templatize(source, origin=name)):
        texts = [ast.literal_eval(text.removeprefix("u")) for text in re.findall(QUOTED, call[2])]
        yield key(call[1], texts)


def of_module(source: str) -> Iterator[Key]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            texts = [text.value for text in node.args if isinstance(text, ast.Constant) and isinstance(text.value, str)]
            if name in CALLS and texts and len(texts) > max(place or 0 for place in CALLS[name]):
                yield key(name, texts)


def key(name: str, texts: list[str]) -> Key:
    context, text, plural = CALLS[name]
    return (
        None if context is None else texts[context],
        texts[text],
        None if plural is None else texts[plural],
    )


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
