"""After a save on a site that is being set up: where the way to the first loop goes on."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest
from django.utils.html import format_html
from django.utils.translation import gettext as _

from registry.models import User
from registry.uses import next_step


def tell_next_step(request: HttpRequest) -> None:
    """Put the next step, with the way to it, beside what was saved; nothing once there is a loop."""
    user: User = request.user  # type: ignore[assignment]
    found = next_step(user)
    if found is None:
        return
    begin = " ".join(
        filter(None, (_("Next on the way to the first loop: %(step)s.") % {"step": found.name}, found.lacks))
    )
    if found.address:
        messages.info(request, format_html('{} <a href="{}">{}</a>', begin, found.address, found.words))
    else:
        messages.info(request, f"{begin} {found.who}".strip())
