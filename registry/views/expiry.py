"""What runs out: the months ahead as a calendar, and the list of one of them or of all."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from registry import access
from registry.models import User
from registry.services.expiry import Ending, endings

MONTHS = 24
PAGE_SIZE = 100
LONGEST_AGO = dt.timedelta(days=3650)


@require_safe
def expiry(request: HttpRequest) -> HttpResponse:
    """All that runs out within two years, and what has run out; `month` is YYYY-MM or "over"."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "register.view")
    today = timezone.localdate()
    months = months_from(today)
    found = endings(today - LONGEST_AGO, months[-1].replace(day=28) + dt.timedelta(days=3))
    counts = Counter(ending.on.strftime("%Y-%m") for ending in found if ending.on >= today)
    over = [ending for ending in found if ending.on < today]
    chosen = request.GET.get("month", "")
    known = {month.strftime("%Y-%m"): month for month in months}
    if chosen == "over":
        listed = over
    elif chosen in known:
        listed = [ending for ending in found if ending.on >= today and ending.on.strftime("%Y-%m") == chosen]
    else:
        chosen, listed = "", found
    page = Paginator(listed, PAGE_SIZE).get_page(request.GET.get("page", "")[:9])
    context: dict[str, Any] = {
        "section": "certificates",
        "months": [
            {"key": key, "month": month, "count": counts[key], "current": key == chosen} for key, month in known.items()
        ],
        "over": len(over),
        "chosen": chosen,
        "page_obj": page,
        "rows": [{"ending": ending, "words": words(ending, today), "state": state(ending, today)} for ending in page],
        "query_string": f"month={chosen}" if chosen else "",
        "what": _("endings"),
    }
    return render(request, "registry/expiry.html", context)


def months_from(today: dt.date) -> list[dt.date]:
    """The first days of this month and those that follow."""
    first = today.year * 12 + today.month - 1
    return [dt.date(number // 12, number % 12 + 1, 1) for number in range(first, first + MONTHS)]


def words(ending: Ending, today: dt.date) -> str:
    """How many days are left, in words."""
    days = ending.days(today)
    if days == 0:
        return _("ends today")
    if days < 0:
        return ngettext("over since %(days)d day", "over since %(days)d days", -days) % {"days": -days}
    return ngettext("%(days)d day left", "%(days)d days left", days) % {"days": days}


def state(ending: Ending, today: dt.date) -> str:
    """ "over", "soon" once a lead time is reached, or "later"."""
    if ending.days(today) < 0:
        return "over"
    return "later" if ending.reached(today) is None else "soon"
