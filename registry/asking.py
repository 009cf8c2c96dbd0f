"""What the address of a list asks for: filters, order, page size and columns, read once for page, export and edit."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from urllib.parse import urlencode

from django.http import QueryDict
from django.utils.translation import gettext as _

from registry.filters import LONGEST, Asking, Condition, Filter, excerpt
from registry.models import User
from registry.querysets import MAX_WORDS

SIZES = (25, 50, 100, 200)
OTHERS = ("page", "size", "sort", "columns", "view")
"""Parameters of a list that are no filters."""

SHOWN_UNKNOWN = 5


@dataclass
class Asked:
    """What an address asks for.

    `typed` are the filters as typed, faulty ones too; `conditions` what was understood. `faults` are by parameter, and
    `unknown` says in sentences what is no filter of this list: with either, the list shows nothing. `remarks` say what
    else was not understood.
    """

    typed: dict[str, str] = field(default_factory=dict)
    conditions: list[Condition] = field(default_factory=list)
    faults: dict[str, str] = field(default_factory=dict)
    unknown: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    sort: str = ""
    size: int = 0
    columns: tuple[str, ...] = ()
    view: str = ""
    asking: Asking | None = None

    @property
    def text(self) -> str:
        """The words that are searched for."""
        return "" if "q" in self.faults else self.typed.get("q", "")

    @property
    def is_faulty(self) -> bool:
        return bool(self.faults or self.unknown)

    def in_words(self) -> list[str]:
        """The filters in force, each as people say it."""
        contains = [(_("Contains “%(text)s”") % {"text": self.text})] if self.text else []
        return [item.words for item in self.conditions if item.words] + contains

    def parameters(self, **changed: str) -> dict[str, str]:
        """All that is asked, but for the page, with some of it changed; an empty text drops it."""
        rest = {
            "sort": self.sort,
            "size": str(self.size or ""),
            "columns": ",".join(self.columns),
            "view": self.view,
        }
        return {name: value for name, value in (self.typed | rest | changed).items() if value}

    def query(self, **changed: str) -> str:
        """The same as the query of an address, without a question mark."""
        return urlencode(self.parameters(**changed))

    def without(self, names: Iterable[str]) -> str:
        """The query without some parameters."""
        return self.query(**dict.fromkeys(names, ""))


Query = Mapping[str, list[str]] | QueryDict | str
"""The parameters of an address: by name with all their values, or as text."""


def plain_parameters(query: Query) -> dict[str, list[str]]:
    """The parameters of an address by name: trimmed, empty ones left out."""
    found = QueryDict(query) if isinstance(query, str) else query
    lists = found.lists() if isinstance(found, QueryDict) else found.items()
    plain = {}
    for name, values in lists:
        kept = list(dict.fromkeys(text for value in values if (text := str(value).strip())))
        if kept:
            plain[name] = kept
    return plain


def read_asked(
    query: Query,
    filters: Sequence[Filter],
    user: User,
    sorts: Iterable[str] = (),
    columns: Sequence[str] = (),
    others: Sequence[str] = OTHERS,
    searched: bool = True,
) -> Asked:
    """Read what is asked of a list with these filters, orders and columns. Nothing is left aside without a word.

    `others` are parameters that are no filters; `searched` is false for a list that is not searched for words.
    """
    given = plain_parameters(query)
    names = {name for item in filters for name in item.names()} | ({"q"} if searched else set())
    asked = Asked()
    for name, values in given.items():
        if name in names:
            asked.typed[name] = values[0]
            if fault := fault_of(values):
                asked.faults[name] = fault
    if "q" in asked.typed and "q" not in asked.faults and len(asked.typed["q"].split()) > MAX_WORDS:
        asked.faults["q"] = _("At most %(MAX_WORDS)s words are searched for: leave some out.") % {
            "MAX_WORDS": MAX_WORDS
        }
    strange = [name for name in given if name not in names and name not in others]
    asked.unknown = unknown_names(strange, [*names, *others])
    asked.asking = Asking(user, asked.typed, asked.faults)
    for item in filters:
        asked.conditions += item.read(asked.asking)
    read_rest(asked, {name: values[0] for name, values in given.items()}, sorts, columns)
    return asked


def fault_of(values: Sequence[str]) -> str:
    """What is wrong with the text of a parameter, whatever it is for."""
    if len(values) > 1:
        return _("This is asked for twice, as “%(values)s” and “%(values2)s”: keep one.") % {
            "values": excerpt(values[0]),
            "values2": excerpt(values[1]),
        }
    if len(values[0]) > LONGEST:
        return _("Shorten this to at most %(LONGEST)s characters.") % {"LONGEST": LONGEST}
    if any(unicodedata.category(letter).startswith("C") for letter in values[0]):
        return _("There is a hidden character in this text: type it by hand.")
    return ""


def unknown_names(names: Sequence[str], known: Iterable[str]) -> list[str]:
    """A sentence for each name that is none of a list."""
    found = []
    for name in names[:SHOWN_UNKNOWN]:
        near = difflib.get_close_matches(name[:LONGEST], known, n=1)
        hint = (_(" Did you mean “%(near)s”?") % {"near": near[0]}) if near else _(" Take it out of the address.")
        found.append(_("This list has no filter named “%(name)s”.%(hint)s") % {"name": excerpt(name), "hint": hint})
    if len(names) > SHOWN_UNKNOWN:
        found.append(
            _("%(SHOWN_UNKNOWN)s further names are unknown too.") % {"SHOWN_UNKNOWN": len(names) - SHOWN_UNKNOWN}
        )
    return found


def read_rest(asked: Asked, given: Mapping[str, str], sorts: Iterable[str], columns: Sequence[str]) -> None:
    """Order, page size, columns and view. These change nothing of what is found, so that a wrong one is a remark."""
    sort = given.get("sort", "")
    if sort.removeprefix("-") in sorts:
        asked.sort = sort
    elif sort:
        asked.remarks.append(
            _("This list cannot be sorted by “%(sort)s”: choose a column head.") % {"sort": excerpt(sort)}
        )
    size = given.get("size", "")
    if size in map(str, SIZES):
        asked.size = int(size)
    elif size:
        asked.remarks.append(
            _("A page has %(SIZES)s rows, not “%(size)s”.")
            % {"SIZES": ", ".join(map(str, SIZES)), "size": excerpt(size)}
        )
    wanted = [name for name in given.get("columns", "").split(",") if name]
    strange = [name for name in wanted if name not in columns]
    if strange:
        asked.remarks.append(_("This list has no column named “%(strange)s”.") % {"strange": excerpt(strange[0])})
    asked.columns = tuple(name for name in columns if name in wanted)
    view = given.get("view", "")
    asked.view = view if view.isascii() and view.isdigit() and len(view) < 16 else ""
    if view and not asked.view:
        asked.remarks.append(_("There is no view “%(view)s”.") % {"view": excerpt(view)})
