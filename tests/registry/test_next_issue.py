"""A certificate is re-issued: the next issue begins from the last one, which is superseded; dependants are told."""

from collections.abc import Callable
from typing import Any

import pytest

from registry.models import Certificate, Change, Notice, Revision
from registry.selectors import record_text
from registry.services.issues import issues_of, next_issue, supersede
from registry.services.records import Author, EntryRefused, StaleRecord

pytestmark = pytest.mark.django_db


def text(certificate: Any, **values: str) -> dict[str, Any]:
    return record_text(certificate) | {"issue": next_issue(certificate), "issued_on": "2024-05-01"} | values


@pytest.fixture
def reissue(people: Any) -> Callable[..., Any]:
    def act(certificate: Any, reason: str = "Issue 1 arrived", version: int | None = None, **values: str) -> Any:
        author = Author(people["keeper"], reason=reason)
        return supersede(certificate.pk, text(certificate, **values), author, opened_version=version)

    return act


def test_the_next_issue_follows_and_the_old_one_is_superseded(certificate: Any, reissue: Callable[..., Any]) -> None:
    first = reissue(certificate)
    certificate.refresh_from_db()
    assert (first.issue, first.follows, first.status) == ("1", certificate, "current")
    assert certificate.status == "superseded"
    second = reissue(first, number=f"{first.number} X", specific_conditions="Keep dry.")
    assert [row.issue for row in issues_of(second)] == ["0", "1", "2"] and second.suffix == "X"
    assert next_issue(second) == "3"
    revision = Revision.objects.filter(kind="certificate", record_id=certificate.pk).first()
    assert revision is not None and (revision.number, revision.reason) == (2, "Issue 1 arrived")
    verbs = Change.objects.filter(kind="certificate", record_id=certificate.pk).order_by("number")
    assert [row.verb for row in verbs] == ["add", "change", "supersede"]


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"reason": " "}, "reason"),
        ({"number": "EXA 21 ATEX 0999"}, "number"),
        ({"issue": "0"}, "issue"),
        ({"issued_on": "2020-01-01"}, "issued_on"),
        ({"scheme": "nowhere"}, "scheme"),
    ],
)
def test_what_is_no_next_issue_is_refused_and_nothing_is_saved(
    certificate: Any, reissue: Callable[..., Any], values: dict[str, str], field: str
) -> None:
    with pytest.raises(EntryRefused) as refused:
        reissue(certificate, **values)
    assert list(refused.value.errors) == [field]
    certificate.refresh_from_db()
    assert (certificate.status, Certificate.objects.count()) == ("current", 1)


def test_an_issue_is_superseded_once_and_not_over_somebody_elses_save(
    certificate: Any, reissue: Callable[..., Any]
) -> None:
    with pytest.raises(StaleRecord):
        reissue(certificate, version=7)
    reissue(certificate)
    with pytest.raises(EntryRefused, match="begin from the issue in force"):
        reissue(certificate, issue="5")


def test_other_numbers_are_no_issues_of_it(certificate: Any, save: Callable[..., Any]) -> None:
    save("certificate", {"scheme": "ATEX", "number": "EXA 21 ATEX 01011", "issue": "1"})
    assert [row.pk for row in issues_of(certificate)] == [certificate.pk]


def test_whoever_owns_a_loop_on_the_old_issue_is_told(
    loop: Any, device_certificate: Any, reissue: Callable[..., Any], people: Any
) -> None:
    """The loop's own verdict stays; beside it stands that the old issue is to be confirmed."""
    from loops.models import Verification

    before = Verification.objects.count()
    reissue(device_certificate)
    assert Verification.objects.count() == before + 1
    assert Verification.objects.latest("pk").verdict == "complies"
    assert "superseded" in str(Verification.objects.latest("pk").results)


def test_the_page_from_button_to_save(loop: Any, certificate: Any, client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    address = f"/certificates/{certificate.pk}/next-issue/"
    assert address in client.get(f"/certificates/{certificate.pk}/").content.decode()
    form = client.get(address).content.decode()
    assert "Begun with the text of issue 0" in form and 'value="1"' in form
    posted = text(certificate) | {"_version": str(certificate.version), "_reason": ""}
    refused = client.post(address, posted | {"holder": "Somebody else"})
    assert refused.status_code == 400 and "Somebody else" in refused.content.decode()
    posted["_reason"] = "Issue 1 arrived"
    asked = client.post(address, posted)
    assert asked.status_code == 200 and "Nothing is saved yet" in asked.content.decode()
    assert Certificate.objects.count() == 2
    assert client.post(address, posted | {"_back": "1"}).status_code == 200
    stale = client.post(address, posted | {"_confirmed": "1", "_version": "77"})
    assert stale.status_code == 409
    done = client.post(address, posted | {"_confirmed": "1"})
    new = Certificate.objects.get(follows=certificate)
    assert done.status_code == 302 and done["Location"] == f"/certificates/{new.pk}/"
    page = client.get(done["Location"]).content.decode()
    assert "follows issue 0" in page and "Superseded" in page
    assert client.get(address).status_code == 302
    assert client_as("reader").get(f"/certificates/{new.pk}/next-issue/").status_code == 403
    assert not Notice.objects.filter(person__username="reader").exists()
