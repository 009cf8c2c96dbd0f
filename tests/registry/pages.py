"""Reading a page as a browser would: the fields of its form, as they would be sent."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any


class Form(HTMLParser):
    """The fields of the one form of the page that is guarded against leaving, or of the form with `_version`."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[dict[str, str]] = []
        self.kinds: dict[str, str] = {}
        self.ids: set[str] = set()
        self.templates = 0
        self.area = ""
        self.select = ""

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attributes}
        if "id" in found:
            self.ids.add(found["id"])
        if tag == "template":
            self.templates += 1
        if self.templates:
            return
        if tag == "form":
            self.forms.append({})
        if not self.forms:
            return
        fields = self.forms[-1]
        name = found.get("name", "")
        if tag == "input" and name:
            self.kinds[name] = found.get("type", "text")
            if found.get("type") != "checkbox":
                fields[name] = found.get("value", "")
            elif "checked" in found:
                fields[name] = "on"
        elif tag == "textarea":
            self.area = name
            fields[name] = ""
        elif tag == "select":
            self.select = name
            self.kinds[name] = "select"
        elif tag == "option" and self.select and ("selected" in found or self.select not in fields):
            fields[self.select] = found.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "template":
            self.templates -= 1
        elif tag == "textarea":
            self.area = ""
        elif tag == "select":
            self.select = ""

    def handle_data(self, data: str) -> None:
        if self.area and self.forms:
            kept = self.forms[-1][self.area]
            self.forms[-1][self.area] = kept + (data if kept else data.removeprefix("\n"))


def forms_of(answer: Any) -> list[dict[str, str]]:
    """The fields of every form of a page."""
    page = Form()
    page.feed(answer.content.decode())
    return page.forms


def form_of(answer: Any) -> dict[str, str]:
    """What a browser would send from the form of a page, its buttons left out."""
    page = Form()
    page.feed(answer.content.decode())
    form = next(fields for fields in reversed(page.forms) if len(fields) > 1)
    return {name: value for name, value in form.items() if name != "csrfmiddlewaretoken"}


def ids_of(answer: Any) -> set[str]:
    """Every id of a page."""
    page = Form()
    page.feed(answer.content.decode())
    return page.ids
