"""Who is here, with which roles; made and changed by site administrators."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.views import PasswordChangeView
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render, resolve_url
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from registry import access
from registry.login.limits import TooManyAttempts, attempt
from registry.models import Membership, Role, Site, User
from registry.querysets import containing, search_text
from registry.services.changes import recorded
from registry.services.people import (
    NOT_YOURS,
    PersonEntry,
    kept_sites,
    may_keep,
    note_own_password,
    save_person,
    set_person_password,
)
from registry.services.records import Author, EntryRefused
from registry.services.sessions import keep_session
from registry.views.forms import error_list, field_dict
from registry.views.next_step import tell_next_step
from registry.words import lazily

PAGE_SIZE = 50
SECTION = "sites"
NAMES = ("username", "full_name", "email", "is_active")
MAX_ROLES = 2_000
DUTIES: dict[Role, str] = {
    Role.READER: lazily("Sees everything of the site and changes nothing."),
    Role.DESIGNER: lazily("Makes, edits and submits loops; keeps the register and the hazardous areas; inspects."),
    Role.APPROVER: lazily("Checks and signs loops of others, returns them, withdraws what is issued."),
    Role.PLANNER: lazily("Asks what may replace an item, proposes it to the designer, inspects."),
    Role.KEEPER: lazily("Keeps equipment, certificates, schemes and cable types."),
    Role.ADMINISTRATOR: lazily("Keeps the site, its hazardous areas, the register, and the roles of its people."),
}
"""What each role does, in a sentence; registry/access.py says what it may."""


@require_safe
def people_list(request: HttpRequest) -> HttpResponse:
    """The people of one's sites and their roles there."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "register.view")
    text = search_text(request.GET.get("q", ""))
    roles = Membership.objects.filter(site_id__in=access.sites_of(user)).select_related("site")
    found = containing(access.people_seen_by(user), text, ("username", "full_name", "email")).prefetch_related(
        Prefetch("memberships", roles.order_by("site__code", "role"), to_attr="seen_roles")
    )
    page = Paginator(found, PAGE_SIZE).get_page(request.GET.get("page", "")[:9])
    return render(
        request,
        "registry/people.html",
        {
            "section": SECTION,
            "page_obj": page,
            "people": [{"person": person, "roles": roles_by_site(person.seen_roles)} for person in page.object_list],
            "text": text,
            "may_keep_people": access.may(user, "site.people"),
            "filters": [{"name": "q", "id": "filter-q", "label": _("Name"), "kind": "search", "value": text}],
            "clear_url": reverse("people") if text else "",
            "query_string": "",
            "what": "people",
        },
    )


def roles_by_site(roles: list[Membership]) -> list[dict[str, str]]:
    found: dict[str, list[str]] = {}
    for membership in roles:
        found.setdefault(membership.site.code, []).append(membership.get_role_display())
    return [{"site": code, "roles": ", ".join(names)} for code, names in found.items()]


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def add(request: HttpRequest) -> HttpResponse:
    """The form of a new person."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "site.people")
    if request.method == "POST":
        return receive(request, None)
    return show(request, None, {"is_active": "on"}, {})


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """The form of a person."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "site.people")
    person = get_object_or_404(access.people_seen_by(user), pk=pk)
    if not may_keep(user, person) and not kept_sites(user):
        raise PermissionDenied(NOT_YOURS)
    if request.method == "POST":
        return receive(request, person)
    data: dict[str, Any] = {name: getattr(person, name) for name in NAMES}
    data["is_active"] = "on" if person.is_active else ""
    data["memberships"] = [
        {"site": membership.site.code, "role": membership.role}
        for membership in person.memberships.select_related("site")
    ]
    return show(request, person, data, {})


def typed(request: HttpRequest, person: User | None, sites: list[Site]) -> dict[str, Any]:
    """The nested text of what was ticked and typed; what the person may not change stays as it is."""
    user: User = request.user  # type: ignore[assignment]
    if person is None or may_keep(user, person):
        data: dict[str, Any] = {name: request.POST.get(name, "") for name in NAMES}
    else:
        data = {name: getattr(person, name) for name in NAMES} | {"is_active": "on" if person.is_active else ""}
    ticked = [(site.code, role) for site in sites for role in Role.values if f"role.{site.pk}.{role}" in request.POST]
    data["memberships"] = [{"site": code, "role": role} for code, role in ticked[:MAX_ROLES]]
    return data


def receive(request: HttpRequest, person: User | None) -> HttpResponse:
    user: User = request.user  # type: ignore[assignment]
    sites = kept_sites(user)
    data = typed(request, person, sites)
    secret = {name: request.POST.get(name, "") for name in ("password", "again")}
    try:
        saved = save_person(
            data, Author(user), person_id=person.pk if person else None, password=None if person else secret
        )
    except EntryRefused as refused:
        return show(request, person, data, refused.errors, status=400)
    messages.success(request, (_("Saved %(printed_name)s.") % {"printed_name": saved.printed_name}))
    tell_next_step(request)
    return HttpResponseRedirect(reverse("people"))


def show(
    request: HttpRequest, person: User | None, data: dict[str, Any], errors: dict[str, list[str]], status: int = 200
) -> HttpResponse:
    user: User = request.user  # type: ignore[assignment]
    keeps = person is None or may_keep(user, person)
    fields = [
        field_dict(PersonEntry, name, PersonEntry.base_fields[name], data.get(name, ""), errors.get(name, []), "", {})
        for name in NAMES
    ]
    for field in fields:
        field["kind"] = {"email": "email"}.get(field["name"], field["kind"])
        field["readonly"] = not keeps
    ticked = {(row["site"], row["role"]) for row in data.get("memberships", [])}
    labels = {field["name"]: field["label"] for field in fields}
    labels |= {"password": _("Password"), "again": _("Password again"), "memberships": _("Roles")}
    listed = error_list(errors, labels)
    return render(
        request,
        "registry/person.html",
        {
            "section": SECTION,
            "person": person,
            "keeps": keeps,
            "fields": fields,
            "passwords": [] if person else password_fields(errors),
            "role_errors": [text for path, texts in errors.items() if path.startswith("memberships") for text in texts],
            "roles": Role.choices,
            "sites": [
                {
                    "site": site,
                    "ticks": [
                        {
                            "name": f"role.{site.pk}.{role}",
                            "id": f"f-role-{site.pk}-{role}",
                            "label": label,
                            "duty": DUTIES[Role(role)],
                            "value": (site.code, role) in ticked,
                        }
                        for role, label in Role.choices
                    ],
                }
                for site in kept_sites(user)
            ],
            "errors": [
                error | {"id": "f-memberships"} if "memberships" in error["path"] else error for error in listed
            ],
            "crumbs": [
                {"text": _("People"), "url": reverse("people")},
                {"text": person.printed_name if person else _("New"), "url": ""},
            ],
        },
        status=status,
    )


def password_fields(errors: dict[str, list[str]]) -> list[dict[str, Any]]:
    """The two fields of a new password."""
    return [
        {
            "name": name,
            "id": f"f-{name}",
            "label": label,
            "kind": "password",
            "value": "",
            "required": True,
            "autocomplete": "new-password",
            "help": text,
            "errors": errors.get(name, []),
        }
        for name, label, text in (
            ("password", _("Password"), _("At least 8 characters, not a common password and not like the name.")),
            ("again", _("Password again"), ""),
        )
    ]


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def set_password(request: HttpRequest, pk: int) -> HttpResponse:
    """Give somebody a new password, for instance because it was lost."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "site.people")
    person = get_object_or_404(access.people_seen_by(user), pk=pk)
    if not may_keep(user, person):
        raise PermissionDenied(NOT_YOURS)
    errors: dict[str, list[str]] = {}
    if request.method == "POST":
        try:
            set_person_password(person, request.POST, Author(user))
        except EntryRefused as refused:
            errors = refused.errors
        else:
            messages.success(
                request,
                (
                    _("%(printed_name)s has a new password; their sessions have ended.")
                    % {"printed_name": person.printed_name}
                ),
            )
            return HttpResponseRedirect(reverse("people"))
    return render(
        request,
        "registry/person_password.html",
        {
            "section": SECTION,
            "person": person,
            "passwords": password_fields(errors),
            "errors": error_list(errors, {"password": _("Password"), "again": _("Password again")}),
            "crumbs": [
                {"text": _("People"), "url": reverse("people")},
                {"text": person.printed_name, "url": reverse("person", args=[person.pk])},
                {"text": _("Password"), "url": ""},
            ],
        },
        status=400 if errors else 200,
    )


class OwnPassword(PasswordChangeView):
    """One's own password: the present one, then the new one twice."""

    template_name = "registry/own_password.html"

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """A wrong present password counts: whoever found a browser open does not get to guess it."""
        try:
            take_back = attempt("own_password", f"own-password-{request.user.pk}")
        except TooManyAttempts:
            return render(request, "429.html", status=429)
        answer = super().post(request, *args, **kwargs)
        if answer.status_code == 302:
            take_back()
        return answer

    def form_valid(self, form: PasswordChangeForm) -> HttpResponse:
        with recorded():
            answer = super().form_valid(form)
            note_own_password(form.user)
            keep_session(self.request)
        return answer

    def get_success_url(self) -> str:
        messages.success(self.request, _("Your password is changed; your other sessions have ended."))
        return resolve_url(settings.LOGIN_REDIRECT_URL)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(**context) | {"section": ""}


own_password = OwnPassword.as_view()
