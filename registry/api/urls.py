"""Addresses of the API of the register."""

from collections.abc import Iterator

from django.urls import URLPattern, path

from registry.api import attachments, changes, records
from registry.api.bulk import bulk_view
from registry.services.attachments import MODELS
from registry.services.imports import KINDS as IMPORT_KINDS
from registry.views.kinds import KINDS
from registry.views.pages import KindPage


def addresses_of(page: KindPage) -> Iterator[URLPattern]:
    """`api_equipment_list`, `api_equipment`, `…_bulk`, `…_archived`, `…_revisions`, `…_revision`, `…_attachments`."""
    views, base, name, tags = records.views_of(page), page.path, f"api_{page.kind}", [page.title]
    yield path(f"{base}/", views["list"].as_view(), name=f"{name}_list")
    if page.kind in IMPORT_KINDS:
        bulk = bulk_view(page, records.NAMES[page.kind], tags)
        yield path(f"{base}/bulk/", bulk.as_view(), name=f"{name}_bulk")
    yield path(f"{base}/<int:pk>/", views["one"].as_view(), name=name)
    yield path(f"{base}/<int:pk>/archived/", views["archived"].as_view(), name=f"{name}_archived")
    yield path(f"{base}/<int:pk>/revisions/", views["revisions"].as_view(), name=f"{name}_revisions")
    yield path(f"{base}/<int:pk>/revisions/<int:number>/", views["revision"].as_view(), name=f"{name}_revision")
    if page.kind in MODELS:
        files = attachments.attachments_view(page, tags)
        yield path(f"{base}/<int:pk>/attachments/", files.as_view(), name=f"{name}_attachments")


urlpatterns = [
    *(pattern for page in KINDS.values() for pattern in addresses_of(page)),
    path("attachments/<int:pk>/", attachments.AttachmentView.as_view(), name="api_attachment"),
    path("attachments/<int:pk>/content/", attachments.AttachmentContentView.as_view(), name="api_attachment_content"),
    path("attachments/<int:pk>/retire/", attachments.AttachmentRetireView.as_view(), name="api_attachment_retire"),
    path("changes/", changes.ChangesView.as_view(), name="api_changes"),
]
