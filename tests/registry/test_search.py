"""Search, pickers, the echo of quantities and the glossary."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from registry.models import Certificate

pytestmark = pytest.mark.django_db


def url(kind: str, view: str = "", pk: int = 0) -> str:
    return reverse(f"{kind}_{view}" if view else kind, args=[pk] if pk else [])


def test_an_exact_name_is_opened_and_else_everything_found_is_listed(
    source: Any, device: Any, certificate: Any, cable_type: Any, area: Any, client_as: Callable[[str], Any]
) -> None:
    client = client_as("reader")
    for text, record in (("nb-28", source), (certificate.number, certificate), ("Pair 1.5 mm2", cable_type)):
        assert client.get("/search/", {"q": text}).headers["Location"] == url(record.record_kind, "", record.pk)
    assert client.get("/search/", {"q": "Reactor bay"}).headers["Location"] == url("area", "", area.pk)
    page = client.get("/search/", {"q": "EX"})
    assert [found.title for found in page.context["finds"]] == ["Equipment", "Certificates"]
    assert "Nothing found" in client.get("/search/", {"q": "zzz"}).content.decode()
    assert client_as("neighbour").get("/search/", {"q": "Reactor bay"}).status_code == 200
    assert client_as("outsider").get("/search/", {"q": "x"}).status_code == 403


def test_people_are_found_by_name_and_log_in_by_those_who_may_see_them(
    people: Any, client_as: Callable[[str], Any]
) -> None:
    people["planner"].full_name = "Ottoline Ferrars"
    people["planner"].save()
    found = client_as("reader").get("/search/", {"q": "ottoline ferrars"})
    assert found.headers["Location"] == "/people/?q=planner"
    keeper_of_people = client_as("administrator").get("/search/", {"q": "planner"})
    assert keeper_of_people.headers["Location"] == url("person", "", people["planner"].pk).replace("//", "/")
    part = client_as("reader").get("/search/", {"q": "ferra"})
    assert [hit.text for finds in part.context["finds"] for hit in finds.hits] == ["Ottoline Ferrars"]
    # Somebody at another site sees nobody of this one, and the other way round.
    assert not client_as("neighbour").get("/search/", {"q": "ferrars"}).context["finds"]
    assert not client_as("reader").get("/search/", {"q": "neighbour"}).context["finds"]
    people["planner"].is_active = False
    people["planner"].save()
    left = client_as("reader").get("/search/", {"q": "Ottoline Ferrars"})
    assert "cannot log in any more" in left.content.decode()


def test_a_package_above_may_add_what_is_searched(client_as: Callable[[str], Any], monkeypatch: Any) -> None:
    from registry.views import searching

    hit = searching.Hit("PT-7", "", "/loops/7/")
    monkeypatch.setattr(
        searching, "SEARCHERS", [lambda user, text: searching.Finds("Loops", [hit], 1, "/loops/", [hit])]
    )
    assert client_as("reader").get("/search/", {"q": "PT-7"}).headers["Location"] == "/loops/7/"


@pytest.mark.parametrize("text", ["", "\x00", "'; DROP TABLE", "%", "_", "\\", "x" * 5000, "🜚", "a " * 300])
def test_odd_searches_are_answered(text: str, source: Any, client_as: Callable[[str], Any]) -> None:
    client = client_as("reader")
    for address in ("/search/", "/equipment/", "/people/", "/pick/TerminalsEntry.certificate/"):
        assert client.get(address, {"q": text}).status_code in (200, 302, 400 if address == "/equipment/" else 200)


def test_pickers_offer_at_most_thirty_names_and_those_that_begin_so_first(
    people: Any, client_as: Callable[[str], Any]
) -> None:
    Certificate.objects.bulk_create(
        Certificate(scheme="NQ", number=f"{'AB' if number % 2 else 'XAB'} {number:03}", issue="0")
        for number in range(80)
    )
    client = client_as("reader")
    page = client.get("/pick/TerminalsEntry.certificate/", {"q": "ab"}).content.decode()
    offered = [part.split('"')[0] for part in page.split('value="')[1:]]
    assert len(offered) == 30
    assert all(name.startswith("AB") for name in offered)
    sent_by_a_page = client.get("/pick/TerminalsEntry.certificate/", {"terminals.0.certificate": "xab 00"})
    assert sent_by_a_page.content.decode().count("XAB 00") == 5
    assert client.get("/pick/Nothing.at_all/").status_code == 404
    assert client_as("outsider").get("/pick/TerminalsEntry.certificate/").status_code == 403


@pytest.mark.parametrize(
    "kind, text, words",
    [
        ("capacitance", "0,083 µF", "Read as 83 nF"),
        ("capacitance", "110", "Add the unit"),
        ("voltage", "not stated", "not stated by the certificate"),
        ("voltage", "", ""),
    ],
)
def test_how_a_quantity_is_read_is_told(kind: str, text: str, words: str, client_as: Callable[[str], Any]) -> None:
    answer = client_as("reader").get(f"/read/{kind}/", {"terminals.0.x": text})
    assert words in answer.content.decode()
    assert client_as("reader").get("/read/colour/", {"q": "1"}).status_code == 404


def test_the_glossary_names_every_quantity_of_the_register(client_as: Callable[[str], Any]) -> None:
    from registry.entries import ENTRIES
    from registry.parameters import parameter_of
    from registry.quantities import read
    from registry.reading import EntryForm, ReadingField

    def walk(entry: type[EntryForm]) -> None:
        for name, reader in entry.base_fields.items():
            if isinstance(reader, ReadingField):
                parameter = parameter_of(entry.model, name)
                assert parameter is not None, (entry, name)
                assert parameter.kind == reader.kind
                read(parameter.example, parameter.kind)
        for child in entry.children.values():
            walk(child)

    for entry in ENTRIES.values():
        walk(entry)
    page = client_as("reader").get("/help/parameters/").content.decode()
    for symbol in ("Uo,", "Lo/Ro,", "Um,", "Ci,", "Rth,", "Cc,"):
        assert symbol in page
