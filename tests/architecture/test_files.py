"""What lies in the repository, and what its files may not hold."""

import doctest
import importlib
import re
from pathlib import Path

import pytest
from django.template import TemplateSyntaxError
from django.template.loader import get_template

from tests.architecture.files import PACKAGES, ROOT, text_of, tracked

TOP_LEVEL = {
    ".ci",
    ".gitignore",
    "DEVELOPERS.md",
    "README.md",
    "deploy",
    "loops",
    "manage.py",
    "pyproject.toml",
    "registry",
    "reports",
    "templates",
    "tests",
}
LONGEST_MODULE = 450
LONGEST_TEST_MODULE = 550  # tables of cases make tests longer

# Written in two parts each, so that this file does not hold what it forbids.
FORBIDDEN = [
    ("a host of a package registry", re.compile("pypi" + r"\.org|python" + r"hosted\.org|deb" + r"\.debian\.org")),
    ("a path of one machine", re.compile(r"(?<![\w.-])/(?:" + "wo" + "rk|ro" + "ot|ho" + r"me/\w+|tmp/" + r"\w+)/")),
]


def modules() -> list[Path]:
    return [path for path in tracked() if path.suffix == ".py" and path.parts[0] in (*PACKAGES, "tests", "manage.py")]


def test_the_top_level_holds_exactly_the_fixed_names() -> None:
    assert {path.parts[0] for path in tracked()} == TOP_LEVEL


@pytest.mark.parametrize("what, pattern", FORBIDDEN, ids=lambda value: value if isinstance(value, str) else "")
def test_no_file_names(what: str, pattern: re.Pattern[str]) -> None:
    found = [
        f"{path}:{number}: {line.strip()[:100]}"
        for path in tracked()
        for number, line in enumerate(text_of(path).splitlines(), 1)
        if pattern.search(line)
    ]
    assert not found, f"{what} is named"


@pytest.mark.parametrize("text", ["/wo" + "rk/main/x", "see /tm" + "p/unlit/x", "https://pypi" + ".org/simple"])
def test_the_patterns_of_that_test_find(text: str) -> None:
    assert any(pattern.search(text) for _, pattern in FORBIDDEN)


def test_no_module_is_so_long_that_it_holds_two_things() -> None:
    long = {
        str(path): lines
        for path in modules()
        if "migrations" not in path.parts
        and "data" not in path.parts
        and (lines := text_of(path).count("\n")) > (LONGEST_TEST_MODULE if path.parts[0] == "tests" else LONGEST_MODULE)
    }
    assert not long


def test_shell_scripts_are_posix_and_executable_ones_have_an_interpreter() -> None:
    for path in tracked():
        if path.suffix == ".sh":
            assert not re.search(r"^\s*(local|function|source|\[\[)\s", text_of(path), re.MULTILINE), path
        if (ROOT / path).stat().st_mode & 0o111:
            assert text_of(path).startswith("#!"), f"{path} is executable and names no interpreter"


TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))


def test_no_template_has_inline_style_script_or_handler() -> None:
    """The content security policy is 'self' alone: a browser would drop each of them."""
    found = []
    for path in TEMPLATES:
        text = path.read_text()
        is_print = "print" in path.parts
        for what, pattern in (
            ("inline style", r"\sstyle\s*="),
            ("style element", r"<style\b"),
            ("script without src", r"<script\b(?![^>]*\bsrc\s*=)(?![^>]*type=\"application/json\")"),
            ("event handler", r"\son[a-z]+\s*=\s*[\"']"),
            ("javascript: address", r"javascript:"),
            ("hx-on or hx-vals with code", r"hx-on|js:"),
        ):
            if re.search(pattern, text, re.IGNORECASE) and not (is_print and what == "style element"):
                found.append(f"{path.relative_to(ROOT)}: {what}")
    assert TEMPLATES
    assert not found


WITH_DOCTESTS = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for package in PACKAGES
    for path in (ROOT / package).rglob("*.py")
    if ">>> " in path.read_text() and "migrations" not in path.parts
)


@pytest.mark.parametrize("name", WITH_DOCTESTS)
def test_examples_in_docstrings(name: str) -> None:
    results = doctest.testmod(importlib.import_module(name))
    assert results.attempted
    assert not results.failed


def test_every_template_can_be_read() -> None:
    """A tag whose library is not loaded would be found by nobody but whoever opens the page."""
    faults = []
    for path in tracked():
        if path.parts[0] == "templates" and not {"static", "locale"} & set(path.parts):
            try:
                get_template(path.relative_to("templates").as_posix())
            except TemplateSyntaxError as error:
                faults.append(f"{path}: {error}")
    assert not faults
