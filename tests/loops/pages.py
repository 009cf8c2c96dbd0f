"""Helpers of the tests of loop pages: the editor's form as a browser would send it."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

from django.apps import apps


class FormReader(HTMLParser):
    """Collects what a browser would send of the form with one id: inputs, chosen options and text areas."""

    def __init__(self, form_id: str) -> None:
        super().__init__()
        self.form_id = form_id
        self.inside = self.in_template = False
        self.sent: dict[str, str] = {}
        self.select = self.textarea = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        if tag == "form" and found.get("id") == self.form_id:
            self.inside = True
        if tag == "template":
            self.in_template = True
        if not self.inside or self.in_template:
            return
        name = found.get("name", "")
        if tag == "input" and name and found.get("type") not in {"checkbox", "radio", "submit"}:
            self.sent[name] = found.get("value", "")
        elif tag == "input" and name and "checked" in found:
            self.sent[name] = found.get("value", "on")
        elif tag == "select":
            self.select, self.sent[name] = name, ""
            self.first = True
        elif tag == "option" and self.select and ("selected" in found or self.first):
            self.sent[self.select] = found.get("value", "")
            self.first = False
        elif tag == "textarea":
            self.textarea, self.sent[name] = name, ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.inside = False
        elif tag == "template":
            self.in_template = False
        elif tag == "select":
            self.select = ""
        elif tag == "textarea":
            self.textarea = ""

    def handle_data(self, data: str) -> None:
        if self.textarea and self.inside:
            self.sent[self.textarea] += data.removeprefix("\n")


def form_of(response: Any, form_id: str = "loop-form") -> dict[str, str]:
    """The fields of the editor's form as the page shows them."""
    reader = FormReader(form_id)
    reader.feed(response.content.decode())
    return {name: value for name, value in reader.sent.items() if name not in {"csrfmiddlewaretoken", "_count"}}


def row_counts() -> dict[str, int]:
    """How many rows every table of the product and of its libraries has."""
    return {model._meta.label: model._default_manager.count() for model in apps.get_models()}
