"""Where records of the register are used, and what a change of them would do: asked of those who use them.

The register knows no loops. Whoever uses its records says so when it is ready, by putting a function in here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from registry.models import User
from registry.models.base import Record


@dataclass(frozen=True)
class Use:
    """One user of a record as pages list it: a loop, its state and verdict, and which revision of the record it has."""

    tag: str
    url: str
    service: str
    site: str
    state: str
    verdict: str
    pinned: int | None
    basis_changed: bool


@dataclass(frozen=True)
class Effect:
    """What a change would do to one loop: its verdict and least margin before and after, and what decides then."""

    tag: str
    url: str
    site: str
    state: str
    letter: str
    before: str
    after: str
    function_before: str
    function_after: str
    margin_before: Any
    margin_after: Any
    limiting: str
    unit: str
    """What the site of the loop reads lengths in."""
    is_worse: bool
    """Whether the loop would be worse, in safety or in function."""

    @property
    def changes_verdict(self) -> bool:
        return (self.before, self.function_before) != (self.after, self.function_after)

    @property
    def changes_margin(self) -> bool:
        return bool(self.margin_before != self.margin_after)


@dataclass(frozen=True)
class Effects:
    """What a change would do: how many loops rest on it, how many were judged, and those it would touch."""

    count: int
    judged: int
    touched: tuple[Effect, ...]
    elsewhere: int
    """How many of the touched are at sites that the person does not see; they are not among `touched`."""

    @property
    def matter(self) -> bool:
        """Whether there is anything to look at before a save."""
        return bool(self.touched or self.elsewhere or self.count > self.judged)


Describe = Callable[[Record, Sequence[int]], Sequence[Use]]
"""The uses of a record in some loops, by their keys and in their order."""

Proposals = Mapping[tuple[str, int], tuple[Record, Mapping[str, Any]]]
"""Records with the contents that they would have, by kind and key."""

Foresee = Callable[[Proposals, Sequence[int], int], Effects]
"""What proposed contents of records would do: the contents, the keys of the sites that the person sees, and how many
loops at most are judged."""

MOST_JUDGED = 500
"""How many loops are judged while somebody waits: some seconds of work."""

Notes = Callable[[Record], Sequence[Mapping[str, str]]]
"""What a record's users keep beside it."""

Issued = Callable[[str, Iterable[int]], set[int]]
"""Of some records of a kind, by their keys, those on which something rests that was issued once."""


@dataclass(frozen=True)
class NextStep:
    """A step of setting up a site: its name, what of it is missing, where this person does it in words and as an
    address, or who may where this person may not."""

    name: str
    lacks: str
    words: str
    address: str
    who: str


Next = Callable[[User], NextStep | None]
"""What a person does next while the site is being set up."""

USERS: dict[str, Callable[..., Any]] = {}


def describe(record: Record, keys: Sequence[int]) -> Sequence[Use]:
    """The uses of a record in some loops; empty where nobody said that they use anything."""
    function: Describe | None = USERS.get("describe")
    return function(record, keys) if function else ()


def notes(record: Record) -> Sequence[Mapping[str, str]]:
    """What the users of a record keep beside it, as labels and values; empty where nobody keeps anything."""
    function: Notes | None = USERS.get("notes")
    return function(record) if function else ()


def issued(kind: str, keys: Iterable[int]) -> set[int]:
    """Of some records of a kind, by their keys, those on which something rests that was issued once."""
    function: Issued | None = USERS.get("issued")
    return function(kind, keys) if function else set()


def foresee(proposals: Proposals, site_keys: Sequence[int], most: int = MOST_JUDGED) -> Effects:
    """What proposed contents of records would do to those who use them; nothing is written."""
    function: Foresee | None = USERS.get("foresee")
    return function(proposals, site_keys, most) if function else Effects(0, 0, (), 0)


def next_step(user: User) -> NextStep | None:
    """What a person does next while the site is being set up; nothing where it is, or nobody says so."""
    function: Next | None = USERS.get("next")
    return function(user) if function else None
