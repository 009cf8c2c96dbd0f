"""Addresses of the register: the same for every kind of record, and the pages beside them."""

from collections.abc import Iterator

from django.urls import URLPattern, path

from registry.services.imports import KINDS as IMPORT_KINDS
from registry.services.many import MANY_KINDS
from registry.views import (
    details,
    editing,
    exchanging,
    expiry,
    files,
    glossary,
    histories,
    issuing,
    lists,
    log,
    many,
    notices,
    people,
    picking,
    saved,
    searching,
    styles,
    taking,
    tokens,
    webhooks,
    works,
)
from registry.views.kinds import KINDS
from registry.views.pages import KindPage


def addresses_of(page: KindPage) -> Iterator[URLPattern]:
    """`equipment_list`, `equipment_export`, `…_seen`, `…_many`, `equipment_new`, `equipment`, `equipment_edit`,
    `…_duplicate`, `…_archive`, `…_restore`, `…_history`, `…_compare`."""
    base, name, kind = page.path, page.kind, {"kind": page}
    yield path(f"{base}/", lists.record_list, kind, name=f"{name}_list")
    if name in IMPORT_KINDS:
        yield path(f"{base}/export.<str:suffix>", exchanging.export_list, kind, name=f"{name}_export")
    yield path(f"{base}/seen.<str:suffix>", exchanging.export_seen, kind, name=f"{name}_seen")
    if name in MANY_KINDS:
        yield path(f"{base}/many/", many.many, kind, name=f"{name}_many")
    yield path(f"{base}/new/", editing.add, kind, name=f"{name}_new")
    yield path(f"{base}/<int:pk>/", details.record_page, kind, name=name)
    yield path(f"{base}/<int:pk>/edit/", editing.edit, kind, name=f"{name}_edit")
    yield path(f"{base}/<int:pk>/duplicate/", editing.duplicate, kind, name=f"{name}_duplicate")
    yield path(f"{base}/<int:pk>/archive/", editing.archive, kind | {"archived": True}, name=f"{name}_archive")
    yield path(f"{base}/<int:pk>/bring-back/", editing.archive, kind | {"archived": False}, name=f"{name}_restore")
    yield path(f"{base}/<int:pk>/history/", histories.history, kind, name=f"{name}_history")
    yield path(f"{base}/<int:pk>/compare/", histories.compare, kind, name=f"{name}_compare")


def addresses_of_files() -> Iterator[URLPattern]:
    for name in ("certificate", "equipment"):
        kind = KINDS[name]
        yield path(f"{kind.path}/<int:pk>/files/", files.attach, {"kind": kind}, name=f"{name}_attach")


urlpatterns = [
    *addresses_of_files(),
    path("files/<int:pk>/", files.file, name="file"),
    path("files/<int:pk>/retire/", files.retire, name="file_retire"),
    *(pattern for page in KINDS.values() for pattern in addresses_of(page)),
    path("certificates/<int:pk>/next-issue/", issuing.next_issue_page, name="certificate_supersede"),
    path("import/", exchanging.import_page, name="import"),
    path("import/<str:kind>.<str:suffix>", exchanging.table_template, name="import_template"),
    path("equipment/paste/", taking.paste, name="equipment_paste"),
    path("equipment/nameplate/", taking.nameplate, name="equipment_nameplate"),
    path("equipment/take/", taking.take_over, name="equipment_take"),
    path("certificates/take/", taking.new_certificate, name="certificate_take"),
    path("equipment/<int:pk>/confirm/", taking.confirm, name="equipment_confirm"),
    path("equipment/<int:pk>/nameplate.json", taking.nameplate_file, name="equipment_nameplate_file"),
    path("pick/<str:name>/", picking.pick, name="pick"),
    path("read/<str:kind>/", picking.read_quantity, name="read_quantity"),
    path("lists/<str:kind>/columns/", saved.layout, name="list_layout"),
    path("lists/<str:kind>/views/", saved.new_view, name="view_new"),
    path("views/<int:pk>/", saved.view_page, name="view"),
    path("search/", searching.search, name="search"),
    path("help/parameters/", glossary.parameters, name="parameters"),
    path("styles/", styles.styles, name="styles"),
    path("expiry/", expiry.expiry, name="expiry"),
    path("log/", log.log, name="log"),
    path("log/export.csv", log.log_export, name="log_export"),
    path("notices/", notices.notices, name="notices"),
    path("notices/read/", notices.read_all, name="notices_read"),
    path("notices/<int:pk>/", notices.open_notice, name="notice"),
    path("works/", works.works, name="works"),
    path("works/<int:pk>/", works.work_page, name="work"),
    path("works/<int:pk>/progress/", works.progress, name="work_progress"),
    path("works/<int:pk>/cancel/", works.cancel, name="work_cancel"),
    path("works/<int:pk>/file/", works.work_file, name="work_file"),
    path("webhooks/", webhooks.webhooks, name="webhooks"),
    path("webhooks/new/", webhooks.new_webhook, name="webhook_new"),
    path("webhooks/<int:pk>/", webhooks.webhook_page, name="webhook"),
    path("people/", people.people_list, name="people"),
    path("people/new/", people.add, name="person_new"),
    path("people/<int:pk>/", people.edit, name="person"),
    path("people/<int:pk>/password/", people.set_password, name="person_password"),
    path("account/tokens/", tokens.tokens, name="tokens"),
    path("account/tokens/new/", tokens.new_token, name="token_new"),
    path("account/tokens/<int:pk>/revoke/", tokens.revoke_token, name="token_revoke"),
    path("password/", people.own_password, name="password_change"),
]
