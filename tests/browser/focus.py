"""Where the keyboard is on a page, and whether one sees it."""

from __future__ import annotations

from typing import Any

WHERE = """() => {
    const at = document.activeElement;
    if (!at || at === document.body || at === document.documentElement) return null;
    const box = at.getBoundingClientRect();
    const style = getComputedStyle(at);
    const points = [[0.5, 0.5], [0.1, 0.5], [0.9, 0.5], [0.5, 0.1], [0.5, 0.9]];
    const seen = points.some(([right, down]) => {
        const top = document.elementFromPoint(box.left + right * box.width, box.top + down * box.height);
        return top && (at.contains(top) || top.contains(at) || top.closest("label")?.control === at);
    });
    const words = at.getAttribute("aria-label") || at.labels?.[0]?.textContent || at.textContent || at.title || at.name;
    return {
        words: words.replace(/\\s+/g, " ").trim(),
        tag: at.tagName.toLowerCase(),
        id: at.id,
        name: at.getAttribute("name") || "",
        value: at.value ?? "",
        seen,
        ring: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
    };
}"""


def where(page: Any) -> dict[str, Any] | None:
    """What has the focus: its words, tag, id, name, value, whether it is seen and whether a ring shows it."""
    found: dict[str, Any] | None = page.evaluate(WHERE)
    return found


def stops(page: Any, most: int = 400) -> list[dict[str, Any]]:
    """Every stop of the Tab key from the top of the page until it leaves the page."""
    page.evaluate("() => { document.activeElement?.blur(); scrollTo(0, 0); }")
    found: list[dict[str, Any]] = []
    for _ in range(most):
        page.keyboard.press("Tab")
        stop = where(page)
        if stop is None:
            return found
        found.append(stop)
    raise AssertionError(f"the Tab key does not leave the page after {most} stops")


def tab_to(page: Any, *, words: str = "", name: str = "", most: int = 300) -> dict[str, Any]:
    """Press Tab until what has the focus bears these words, or this name of a field; every stop must be seen."""
    for _ in range(most):
        page.keyboard.press("Tab")
        stop = where(page)
        if stop is None:
            continue
        assert stop["seen"] and stop["ring"], stop
        if (words and stop["words"].startswith(words)) or (name and stop["name"] == name):
            return stop
    raise AssertionError(f"no Tab reaches {words or name!r} on {page.url}")
