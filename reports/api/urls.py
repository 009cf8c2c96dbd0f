"""Addresses of the API of what leaves the house."""

from django.urls import path

from reports.api import sheets

urlpatterns = [
    path("sheets/", sheets.SheetsView.as_view(), name="api_sheets"),
    path("sheets/<int:pk>/", sheets.SheetView.as_view(), name="api_sheet"),
    path("sheets/by-digest/<slug:sha256>/", sheets.SheetBytesView.as_view(), name="api_sheet_bytes"),
]
