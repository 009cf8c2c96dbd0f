"""The German catalogue is whole, and what is compiled of it is what stands in it."""

import gettext
from functools import cache

import pytest

from tests.catalogue import LANGUAGES, PLACEHOLDER, Key, compiled, messages, path_of, read, translations

CURE = "run python -m tests.catalogue and translate what it lists"


@cache
def told(language: str) -> dict[Key, tuple[str, ...]]:
    return translations(read(language))


@cache
def said() -> frozenset[Key]:
    return frozenset(messages())


@pytest.mark.parametrize("language", LANGUAGES)
def test_everything_is_translated(language: str) -> None:
    # A message that is said with and without a plural stands once, with its plural.
    known = {(context, text) for context, text, _ in told(language)}
    assert len(said()) > 2500
    assert not [key for key in said() if key[:2] not in known], CURE
    assert not [key for key, texts in told(language).items() if not all(texts)], CURE


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_is_kept_that_is_said_no_more(language: str) -> None:
    current = {key[:2] for key in said()}
    assert not [key for key in told(language) if key[:2] not in current], CURE


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_translation_is_a_guess(language: str) -> None:
    assert not [message.id for message in read(language) if message.id and message.fuzzy]


@pytest.mark.parametrize("language", LANGUAGES)
def test_placeholders_agree(language: str) -> None:
    wrong = []
    for (_, text, plural), texts in told(language).items():
        for original, translated in zip((text, plural or text), texts, strict=False):
            if sorted(PLACEHOLDER.findall(original)) != sorted(PLACEHOLDER.findall(translated)):
                wrong.append((original, translated))
    assert not wrong


@pytest.mark.parametrize("language", LANGUAGES)
def test_space_at_the_ends_agrees(language: str) -> None:
    """Pieces are put together: a space that is lost joins two words."""
    wrong = []
    for (_, text, _plural), texts in told(language).items():
        for translated in texts:
            if (text[:1].isspace(), text[-1:].isspace()) != (translated[:1].isspace(), translated[-1:].isspace()):
                wrong.append((text, translated))
    assert not wrong


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_compiled_catalogue_is_current(language: str) -> None:
    """Read with the standard library, not with what wrote it."""
    path = path_of(language).with_suffix(".mo")
    assert path.read_bytes() == compiled(read(language)), CURE
    with path.open("rb") as file:
        catalogue = gettext.GNUTranslations(file)
    for (context, text, plural), texts in told(language).items():
        if plural is not None:
            assert context is None
            assert (catalogue.ngettext(text, plural, 1), catalogue.ngettext(text, plural, 2)) == texts
        elif context is not None:
            assert catalogue.pgettext(context, text) == texts[0]
        else:
            assert catalogue.gettext(text) == texts[0]
