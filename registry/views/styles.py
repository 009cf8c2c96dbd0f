"""The styles page: every piece that pages are made of, for whoever keeps the site."""

from __future__ import annotations

import json

from django import forms
from django.conf import settings
from django.contrib.messages import constants
from django.contrib.messages.storage.base import Message
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe


class SampleForm(forms.Form):
    """A field of each kind that components/form_field.html tells apart."""

    name = forms.CharField(label="Printed name", help_text="As it stands below your signature.")
    length = forms.CharField(label="Length")
    mail = forms.EmailField(label="Mail address", required=False)
    grade = forms.ChoiceField(label="Grade", choices=[("v", "Visual"), ("c", "Close")], widget=forms.RadioSelect)
    cell = forms.CharField(label="Length of W1")
    agreed = forms.BooleanField(label="Keep me logged in on this device", required=False)
    remark = forms.CharField(label="Remark", required=False, widget=forms.Textarea(attrs={"rows": 2}))
    step = forms.CharField(initial="3", widget=forms.HiddenInput)


SAMPLE = {"length": "300 ft", "mail": "not an address", "grade": "c", "cell": "300 m", "agreed": "on", "step": "3"}
"""What is typed in it: a name is missing, and the address is none."""
TOLD = (
    Message(constants.SUCCESS, "PT-1101 was saved."),
    Message(constants.INFO, "Nothing was changed."),
    Message(constants.WARNING, "Its certificate ends in 30 days."),
    Message(constants.ERROR, "The file was not read."),
)
SAMPLES = settings.BASE_DIR / "templates" / "styles.json"


@require_safe
def styles(request: HttpRequest) -> HttpResponse:
    """All components with sample data of an invented site (templates/styles.json)."""
    if not request.user.is_staff:
        raise PermissionDenied("The administrator of the installation may look at this.")
    samples = json.loads(SAMPLES.read_text("utf-8"))
    return render(request, "styles.html", samples | {"told": TOLD, "sample": SampleForm(SAMPLE, auto_id="sample-%s")})
