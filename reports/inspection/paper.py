"""Checklists and signed records on paper: one inspection, or the blank ones of many loops as a round."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

from django.template.loader import render_to_string

from registry.context import CAUTION
from registry.lengths import lengths_in
from registry.models import Site
from registry.stored import said
from reports import pdf
from reports.inspection.lengths import expected_in, value_in, values_in
from reports.inspection.models import Grade, Occasion, Priority, Result
from reports.sheets.build import moment_at
from reports.sheets.paper import SHAPES, code_svg, print_css, shape_svg
from reports.sheets.words import VERDICTS

Record = Mapping[str, Any]
RESULT_SHAPES = {
    Result.OK: "pass",
    Result.DEFECT: "fail",
    Result.NOT_CHECKED: "incomplete",
    Result.NOT_APPLICABLE: "none",
}


def shown_record(record: Record, link: str, site: Site) -> dict[str, Any]:
    """An inspection as paper and page show it, from its plain data: places with their lines, words for keys."""
    unit = site.length_unit
    lines = [shown_line(row, unit) for row in record["lines"]]
    signed_at = record.get("signed_at")
    return {
        "record": record,
        "grade": str(Grade(record["grade"]).label),
        "occasion": str(Occasion(record["occasion"]).label),
        "areas": record.get("areas", []),
        "places": [
            {"name": name, "number": number, "lines": list(group)}
            for number, (name, group) in enumerate(groupby(lines, key=lambda row: row["place"]), start=1)
        ],
        "defects": [row for row in lines if row["result"] == Result.DEFECT],
        "unchecked": [row for row in lines if row["result"] == Result.NOT_CHECKED],
        "open": sum(not row["result"] for row in lines),
        "total": len(lines),
        "done": sum(bool(row["result"]) for row in lines),
        "as_found": shown_judgement(record.get("as_found"), unit),
        "signed_at": moment_at(dt.datetime.fromisoformat(signed_at), site) if signed_at else None,
        "link": link,
        "caution": CAUTION,
    }


def shown_line(row: Record, unit: str) -> dict[str, Any]:
    """A line with its words, lengths in the site's unit."""
    labels = {value["name"]: value["label"] for value in row["values"]}
    expected = {value["name"]: value["expected"] for value in values_in(row["values"], unit)}
    return dict(row) | {
        "expected": expected_in(row["expected"], row["values"], unit),
        "word": str(Result(row["result"]).label) if row["result"] else "",
        "shape": RESULT_SHAPES.get(Result(row["result"]), ""),
        "found": [
            {"label": labels.get(name, name), "text": value_in(name, text, unit), "expected": expected.get(name, "")}
            for name, text in row["found"].items()
        ],
        "priority_word": str(Priority(row["priority"]).label) if row["priority"] else "",
        "judgement": shown_judgement(row["judgement"], unit),
    }


def shown_judgement(judgement: Record | None, unit: str) -> dict[str, Any] | None:
    """The head of a verdict with what was found in place, in the language of who reads it."""
    if not judgement:
        return None
    return {
        "verdict": judgement["verdict"],
        "word": VERDICTS[judgement["verdict"]],
        "limiting": lengths_in(said(judgement["limiting"]), unit),
        "judged_on": judgement["judged_on"],
        "engine": judgement["engine"],
    }


def paper_of(site: Site) -> pdf.PageSize:
    """Letter where the site is judged by North American rules, else A4."""
    return pdf.PageSize.LETTER if site.basis == "NEC" else pdf.PageSize.A4


def document(title: str, shown: Sequence[dict[str, Any]], made_at: dt.datetime, paper: pdf.PageSize) -> pdf.Document:
    """Checklists or records one after another, each beginning on a page of its own."""
    assets = {f"{name}.svg": shape_svg(body, 9.5) for name, body in SHAPES.items()}
    for index, one in enumerate(shown):
        assets[f"code-{index}.svg"] = code_svg(one["link"])
    html = render_to_string(
        "reports/print/inspection.html",
        {"title": title, "inspections": shown, "made_at": made_at, "caution": CAUTION, "is_round": len(shown) > 1},
    )
    css = print_css("base", "title_block", "inspection")
    return pdf.Document(html, css, made_at, assets, paper)


def inspection_pdf(title: str, shown: Sequence[dict[str, Any]], made_at: dt.datetime, paper: pdf.PageSize) -> bytes:
    """The PDF; the same content gives the same bytes. Raises reports.pdf.PdfError."""
    return pdf.render(document(title, shown, made_at, paper))
