"""Schemes of certification: how their numbers look, when an end is told, where they are accepted."""

import datetime as dt
from collections.abc import Callable
from importlib import import_module
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from registry.models import Change, Revision, Scheme
from registry.number_forms import NumberFormError, fits, read_form
from registry.selectors import record_text
from registry.services.expiry import reached_since
from registry.services.records import Author, EntryRefused, save_text

USUAL = import_module("registry.migrations.0014_usual_schemes").USUAL
MONDAY = dt.date(2030, 6, 3)


# Forms of numbers as the schemes write them (IEC 60079-0:2017, clause 29, and the rules of the schemes, from memory).
@pytest.mark.parametrize(
    ("form", "number", "fit"),
    [
        ("@+ ## ATEX #+", "EXA 21 ATEX 0101", True),
        ("@+ ## ATEX #+", "exa21atex0101u", True),
        ("@+ ## ATEX #+", "EXA 21 ATEX 0101 X, Issue 2", True),
        ("@+ ## ATEX #+", "EXA 2021 ATEX 0101", False),
        ("@+ ## ATEX #+", "EXA 21 ATEX", False),
        ("@+ ## ATEX #+", "21 ATEX 0101", False),
        ("IECEx @+ ##.#+", "IECEx EXA 21.0101X", True),
        ("IECEx @+ ##.#+", "IECEx EXA 21 0101X", False),
        ("NQ #### @", "NQ 4417-A", True),
        ("NQ #### @", "NQ 441-A", False),
        ("A #? | B #", "A", True),
        ("A #? | B #", "A 7", True),
        ("A #? | B #", "B", False),
        ("* * *", "a1B", True),
        ("A.#", "AB1", False),
        ("X #+", "X 12 X", True),
    ],
)
def test_a_number_has_the_form_or_not(form: str, number: str, fit: bool) -> None:
    assert fits(form, number) is fit


@pytest.mark.parametrize("form", ["+#", "# ++", "#?+", "", "A||B", "|", " - ", "#" * 201])
def test_a_form_that_cannot_be_read_is_refused_with_an_example(form: str) -> None:
    with pytest.raises(NumberFormError, match="for example"):
        read_form(form)


@given(st.lists(st.sampled_from("#@*AX7."), min_size=1, max_size=12), st.data())
def test_what_is_written_by_a_form_fits_it(signs: list[str], data: Any) -> None:
    """A number made sign by sign from the form has it; one with signs too many does not."""
    letters = {"#": "0123456789", "@": "ABCYZ", "*": "A9Z"}
    number = "".join(data.draw(st.sampled_from(letters.get(sign, sign))) for sign in signs)
    assert fits("".join(signs), number)
    assert not fits("".join(signs), number + "77")


def test_a_hostile_form_takes_steps_in_proportion() -> None:
    """Repeats in a row would try every division of the text in a backtracking matcher: 2 to the power of the length."""
    assert not fits("@+" * 90, "A" * 119 + ".")
    assert fits("@+" * 90, "A" * 119)


def test_the_examples_of_the_usual_schemes_have_their_forms() -> None:
    named = [row for row in USUAL if row[2]]
    assert len(USUAL) >= 8 and len(named) >= 4
    assert all(fits(form, example) for _, _, form, example, _ in named)


def scheme_text(**values: Any) -> dict[str, Any]:
    return {
        "name": "NQS",
        "number_form": "NQS #### @",
        "number_example": "NQS 4417-A",
        "lead_days": "30, 400",
    } | values


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"number_example": ""}, "number_example", "proves the form"),
        ({"number_example": "NQS 12"}, "number_example", "does not have the form"),
        ({"number_form": "+"}, "number_form", "for example"),
        ({"lead_days": "ten"}, "lead_days", "whole numbers of days"),
        ({"lead_days": "-3"}, "lead_days", "whole numbers of days"),
        ({"lead_days": "5000"}, "lead_days", "up to 3650"),
        ({"name": "A, B"}, "name", "comma"),
        ({"name": "ATEX"}, "name", "already"),
    ],
)
def test_a_scheme_that_cannot_be_is_refused(save: Callable[..., Any], values: Any, field: str, words: str) -> None:
    with pytest.raises(EntryRefused) as refused:
        save("scheme", scheme_text(**values))
    assert words in " ".join(refused.value.errors[field])


@pytest.mark.django_db
def test_certificates_and_sites_name_schemes_of_the_table_in_its_spelling(save: Callable[..., Any], site: Any) -> None:
    save("scheme", scheme_text())
    assert save("certificate", {"scheme": "nqs", "number": "NQS 4417-A", "issue": "0"}).scheme == "NQS"
    with pytest.raises(EntryRefused, match=r"choose one of .*ATEX.*or add it first"):
        save("certificate", {"scheme": "ATX", "number": "NQS 4417-A", "issue": "1"})
    text = {"code": "NORTH", "name": "North works", "basis": "IEC", "time_zone": "UTC"}
    saved = save("site", text | {"schemes": "atex,nqs, ATEX"}, by="administrator", record_id=site.pk)
    assert saved.schemes == "ATEX, NQS"
    with pytest.raises(EntryRefused, match="choose one of"):
        save("site", text | {"schemes": "ATEX; IECEx"}, by="administrator", record_id=site.pk)


@pytest.mark.django_db
def test_a_scheme_in_use_keeps_its_name_and_the_usual_ones_are_changed_not_added(
    certificate: Any, save: Callable[..., Any]
) -> None:
    atex = Scheme.objects.get(name="ATEX")
    text = {"name": "ATEX", "number_form": "", "number_example": "", "lead_days": "10", "description": "Europe"}
    with pytest.raises(EntryRefused, match="keep the name"):
        save("scheme", text | {"name": "ATEX 2"}, record_id=atex.pk)
    assert save("scheme", text, record_id=atex.pk).leads == (10,)
    assert Revision.objects.filter(kind="scheme", record_id=atex.pk).latest("number").number == 2
    assert Change.objects.order_by("number").last().verb == "change"  # type: ignore[union-attr]


@pytest.mark.django_db
def test_lead_times_are_those_of_the_scheme(save: Callable[..., Any]) -> None:
    """400 days before for NQS, 180 for ATEX (the default of the table)."""
    save("scheme", scheme_text())
    for number, scheme in (("NQS 4417-A", "NQS"), ("EXA 21 ATEX 0101", "ATEX")):
        end = (MONDAY + dt.timedelta(days=399)).isoformat()
        save("certificate", {"scheme": scheme, "number": number, "issue": "0", "valid_to": end})
    assert [ending.note for ending in reached_since(None, MONDAY)] == ["NQS"]


@pytest.mark.django_db
def test_soon_in_the_list_and_on_the_page_is_that_of_the_scheme(
    save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    save("scheme", scheme_text())
    end = (timezone.localdate() + dt.timedelta(days=300)).isoformat()
    for number, scheme in (("NQS 4417-A", "NQS"), ("EXA 21 ATEX 0101", "ATEX")):
        save("certificate", {"scheme": scheme, "number": number, "issue": "0", "valid_to": end})
    client = client_as("reader")
    soon = client.get("/certificates/?end=soon").content.decode()

    assert "NQS 4417-A" in soon and ">EXA 21" not in soon and "<strong>Valid for new supply" in soon
    later = client.get("/certificates/?end=later").content.decode()
    assert ">EXA 21" in later and ">NQS 4417-A" not in later


@pytest.mark.django_db
def test_a_certificate_says_which_sites_accept_its_scheme(
    save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    record = save("certificate", {"scheme": "NQ", "number": "NQ 4417-A", "issue": "0"})
    page = client_as("designer").get(f"/certificates/{record.pk}/").content.decode()
    assert "does not accept NQ" in page and "NORTH" in page and "SOUTH" not in page


@pytest.mark.django_db
@pytest.mark.parametrize(("role", "status"), [("keeper", 200), ("superuser", 200), ("designer", 403), ("reader", 403)])
def test_who_may_keep_schemes(role: str, status: int, client_as: Callable[[str], Any]) -> None:
    client = client_as(role)
    scheme = Scheme.objects.get(name="ATEX")
    assert client.get("/schemes/").status_code == 200
    page = client.get(f"/schemes/{scheme.pk}/")
    assert page.status_code == 200 and "EXA 21 ATEX 0101 X" in page.content.decode()
    assert client.get(f"/schemes/{scheme.pk}/edit/").status_code == status
    assert client.get("/schemes/new/").status_code == status


@pytest.mark.django_db
def test_a_scheme_that_came_with_the_program_has_an_honest_history(
    people: Any, client_as: Callable[[str], Any]
) -> None:
    client = client_as("keeper")
    scheme = Scheme.objects.get(name="PESO")
    history, compare = f"/schemes/{scheme.pk}/history/", f"/schemes/{scheme.pk}/compare/"
    page = client.get(history)
    assert page.status_code == 200 and "As it came with the program" in page.content.decode()
    assert client.get(compare).headers["Location"] == history
    people = get_user_model().objects
    text = record_text(scheme) | {"description": "India, by its own rules"}
    save_text("scheme", text, Author(people.get(username="keeper"), reason="Named rightly"), record_id=scheme.pk)
    (change,) = client.get(compare).context["rows"]
    assert (change["before"], change["after"]) == ("India", "India, by its own rules")
    entries = client.get(history).context["entries"]
    assert [entry["revision"].reason for entry in entries] == [
        "Named rightly",
        "As it came with the program, recorded before its first change.",
    ]
    assert [change.verb for change in Change.objects.filter(kind="scheme", record_id=scheme.pk).order_by("number")] == [
        "add",
        "change",
    ]
