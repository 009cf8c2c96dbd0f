"""Addresses of labels."""

from django.urls import path

from reports import label_views

urlpatterns = [
    path("labels/", label_views.choose, name="label_list"),
    path("labels/seen.<str:suffix>", label_views.export, name="label_seen"),
    path("labels/labels.pdf", label_views.labels, name="labels"),
]
