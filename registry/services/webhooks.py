"""Telling other systems what was done: from the change log, after the commit, in order, signed, tried again.

A body says which records were touched (kind, key, revision, digest) and nothing of their content: whoever wants that
reads it with a token of their own. Each deed is told at least once; a number that was told before may come again.

The signature is HMAC-SHA256 over the time, a point and the body: ``Unlit-Signature: v1=<hex>`` beside
``Unlit-Timestamp``. A receiver computes the same and refuses what is older than a few minutes.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import json
import secrets
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Max, Q, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django_tasks import default_task_backend

from registry import access
from registry.exchange.posting import Allowed, NotSent, post
from registry.models import Change, Deed, Delivery, NoticeKind, Site, User, Webhook
from registry.prepared import PreparedRead
from registry.sealing import Unreadable, is_fresh, seal, unseal
from registry.services import notices
from registry.services.changes import Told, recorded, tell
from registry.services.log import PERSON_KIND
from registry.services.records import EntryRefused

BATCH = 50
"""So many deeds go into one body."""
MOST_BATCHES = 40
"""So many bodies are sent before others have their turn."""
FIRST_WAIT = dt.timedelta(seconds=30)
LONGEST_WAIT = dt.timedelta(hours=6)
MOST_FAILURES = 20
"""After so many failures in a row, some three days, it is paused and its maker told."""
TAKEN = dt.timedelta(minutes=15)
KEPT = dt.timedelta(days=30)
KINDS = ("equipment", "certificate", "cable_type", "scheme", "site", "area", "loop", "sheet", "inspection", "defect")
UNTOLD = (PERSON_KIND, "webhook")
"""What is no other system's business."""
SECRET_BYTES = 32


def allowed() -> Allowed:
    """Where this installation may send to."""
    return Allowed(tuple(settings.WEBHOOK_ORIGINS), tuple(settings.WEBHOOK_NETWORKS))


# ---------------------------------------------------------------------------------------------------------- keeping


def webhooks_for(user: User) -> QuerySet[Webhook]:
    """The webhooks that a person keeps: of the sites that they administer; those of all sites for a superuser."""
    sites = [site.pk for site in sites_for(user)]
    found = Q(site_id__in=sites) | (Q(site=None) if user.is_superuser else Q(pk__in=[]))
    return Webhook.objects.filter(found, ended_at=None).select_related("site", "made_by")


def sites_for(user: User) -> list[Site]:
    """The sites whose webhooks a person may keep."""
    every = Site.objects.filter(pk__in=access.sites_of(user), archived_at=None).order_by("code")
    return [site for site in every if access.may(user, "site.edit", site)]


def make(user: User, typed: Mapping[str, Any]) -> tuple[Webhook, str]:
    """A new webhook and the secret that signs, which is shown once. It is told of what is done from now on.

    Raises EntryRefused.
    """
    errors: dict[str, list[str]] = {}
    name = " ".join(str(typed.get("name", "")).split())
    url, code = str(typed.get("url", "")).strip(), str(typed.get("site", ""))
    kinds = [str(kind) for kind in typed.get("kinds", ())]
    site = next((one for one in sites_for(user) if one.code == code), None)
    if not 0 < len(name) <= 80 or not name.isprintable():
        errors["name"] = [_("Give it a name of at most 80 characters.")]
    if fault := (allowed().fault_of(url) or ("" if len(url) <= 300 else _("Shorten this to 300 characters."))):
        errors["url"] = [fault]
    if site is None and not (user.is_superuser and not code):
        errors["site"] = [_("Choose a site that you administer.")]
    if set(kinds) - set(KINDS):
        errors["kinds"] = [_("Choose from the kinds that are offered.")]
    if errors:
        raise EntryRefused(errors)
    secret = secrets.token_urlsafe(SECRET_BYTES)
    with recorded():
        last = Change.objects.aggregate(last=Max("number"))["last"] or 0
        webhook = Webhook.objects.create(
            name=name,
            url=url,
            site=site,
            kinds=",".join(kinds),
            sealed_secret=seal(secret),
            position=last,
            made_by=user,
        )
        note(webhook, "webhook made", user)
    return webhook, secret


def note(webhook: Webhook, what: str, actor: User | None) -> None:
    """Tell the change log. The address may hold a secret of the receiver: only its host is told."""
    host = webhook.url.partition("://")[2].partition("/")[0]
    detail = {"what": what, "host": host}
    tell(Told(Deed.ACCESS, "webhook", webhook.pk, webhook.name, actor, webhook.site_id, detail=detail))


def pause(webhook: Webhook, user: User) -> None:
    """Tell it nothing for the time being; what is done meanwhile it is told afterwards."""
    with recorded():
        if Webhook.objects.filter(pk=webhook.pk, paused_at=None).update(paused_at=timezone.now()):
            note(webhook, "webhook paused", user)


def pause_all(why: str) -> int:
    """Tell none anything for the time being; how many were told until now."""
    paused = 0
    with recorded():
        for webhook in standing():
            Webhook.objects.filter(pk=webhook.pk).update(paused_at=timezone.now())
            note(webhook, f"webhook paused: {why}", None)
            paused += 1
    return paused


def go_on(webhook: Webhook, user: User) -> None:
    """Tell it again, from where it was left, at once."""
    with recorded():
        fresh = {"paused_at": None, "failures": 0, "next_try_at": None}
        Webhook.objects.filter(pk=webhook.pk).update(**fresh)
        note(webhook, "webhook goes on", user)
        transaction.on_commit(send_later)


def end(webhook: Webhook, user: User) -> None:
    """Tell it nothing any more."""
    with recorded():
        if Webhook.objects.filter(pk=webhook.pk, ended_at=None).update(ended_at=timezone.now(), sealed_secret=""):
            note(webhook, "webhook ended", user)


# ---------------------------------------------------------------------------------------------------------- telling


def announce(deeds: Sequence[Told]) -> None:
    """Have webhooks told of the deeds of a transaction, once it is committed."""
    waiting = (entry[1] for entry in connection.run_on_commit)
    if send_later not in waiting:
        transaction.on_commit(send_later, robust=True)


STANDING: PreparedRead[tuple[int]] = PreparedRead(lambda: standing().values_list("pk")[:1])


def send_later() -> None:
    """Have the worker tell all webhooks that are due; without a worker, in the background."""
    from registry.tasks import send_webhooks

    if not STANDING():
        return
    if default_task_backend.supports_defer:
        send_webhooks.enqueue()
    else:
        notices.in_background(send_due, "Webhooks")


def standing() -> QuerySet[Webhook]:
    """The webhooks that are told anything."""
    return Webhook.objects.filter(ended_at=None, paused_at=None)


def send_due() -> str:
    """Tell every webhook that is due what it has not been told; how many bodies were taken."""
    now = timezone.now()
    due = standing().filter(Q(next_try_at=None) | Q(next_try_at__lte=now))
    taken = sum(tell_one(key) for key in due.values_list("pk", flat=True))
    return f"{taken} {'body was' if taken == 1 else 'bodies were'} taken."


def tell_one(key: int) -> int:
    """Tell one webhook; how many bodies it took. Another worker that tells it already is left alone."""
    now = timezone.now()
    free = standing().filter(Q(taken_until=None) | Q(taken_until__lt=now), pk=key)
    if not free.update(taken_until=now + TAKEN):
        return 0
    taken = 0
    try:
        webhook = Webhook.objects.select_related("site").get(pk=key)
        for _number in range(MOST_BATCHES):
            rows = list(untold(webhook)[:BATCH])
            if not rows or not deliver(webhook, rows):
                break
            taken += 1
    finally:
        Webhook.objects.filter(pk=key).update(taken_until=None)
    return taken


def untold(webhook: Webhook) -> QuerySet[Change]:
    """The deeds that a webhook has not been told, in order."""
    found = Change.objects.filter(number__gt=webhook.position).exclude(kind__in=UNTOLD)
    if webhook.site_id:
        found = found.filter(Q(site=webhook.site_id) | Q(site=None))
    if webhook.told_kinds:
        found = found.filter(kind__in=webhook.told_kinds)
    return found.select_related("site").order_by("number")


def deliver(webhook: Webhook, rows: Sequence[Change]) -> bool:
    """Send one body, and note how it went; whether it was taken (any answer of 2xx)."""
    at, begun = timezone.now(), time.monotonic()
    status, fault = None, ""
    try:
        content = body_of(webhook, rows, at)
        status = post(webhook.url, content, headers_of(unseal(webhook.sealed_secret), content, at), allowed())
        fault = "" if 200 <= status < 300 else f"It answered {status}."
    except NotSent as error:
        fault = str(error)[:300]
    except Unreadable:
        fault = "Its secret cannot be read: was SECRET_KEY changed? End it and make another."
    Delivery.objects.create(
        webhook=webhook,
        at=at,
        first=rows[0].number,
        last=rows[-1].number,
        count=len(rows),
        status=status,
        taken=not fault,
        fault=fault,
        took_ms=int((time.monotonic() - begun) * 1000),
    )
    if fault:
        failed(webhook, fault)
        return False
    webhook.position, webhook.failures = rows[-1].number, 0
    changes = {"position": webhook.position, "failures": 0, "next_try_at": None}
    Webhook.objects.filter(pk=webhook.pk).update(**changes)
    return True


def failed(webhook: Webhook, fault: str) -> None:
    """Have it tried again later, later each time; after many times pause it and tell its maker."""
    webhook.failures += 1
    if webhook.failures >= MOST_FAILURES:
        with recorded():
            Webhook.objects.filter(pk=webhook.pk).update(paused_at=timezone.now(), failures=webhook.failures)
            note(webhook, "webhook paused after many failures", None)
            words = f"The webhook {webhook} is paused: {fault}"
            maker = User.objects.get(pk=webhook.made_by_id)
            notices.send([notices.tell(maker, NoticeKind.WORK, words, reverse("webhook", args=[webhook.pk]))])
        return
    wait = min(FIRST_WAIT * 2 ** (webhook.failures - 1), LONGEST_WAIT)
    next_try = timezone.now() + wait
    Webhook.objects.filter(pk=webhook.pk).update(failures=webhook.failures, next_try_at=next_try)
    if default_task_backend.supports_defer:
        from registry.tasks import send_webhooks

        send_webhooks.using(run_after=next_try + dt.timedelta(seconds=1)).enqueue()


def body_of(webhook: Webhook, rows: Sequence[Change], at: dt.datetime) -> bytes:
    """What is sent: which records were touched, never what they hold."""
    deeds = [
        {
            "number": row.number,
            "at": row.at.isoformat(),
            "verb": row.verb,
            "kind": row.kind,
            "record_id": row.record_id,
            "site": row.site.code if row.site else "",
            "revision": row.detail.get("revision"),
            "digest": row.digest,
        }
        for row in rows
    ]
    content = {"webhook": webhook.pk, "sent_at": at.isoformat(), "changes": deeds}
    return json.dumps(content, separators=(",", ":")).encode()


def headers_of(secret: str, body: bytes, at: dt.datetime) -> dict[str, str]:
    """The headers of a body, with its signature."""
    stamp = str(int(at.timestamp()))
    return {
        "Content-Type": "application/json",
        "User-Agent": f"Unlit/{settings.VERSION}",
        "Unlit-Timestamp": stamp,
        "Unlit-Signature": f"v1={signature_of(secret, stamp, body)}",
    }


def signature_of(secret: str, stamp: str, body: bytes) -> str:
    """HMAC-SHA256 (RFC 2104) over time and body, as hexadecimal."""
    return hmac.new(secret.encode(), stamp.encode() + b"." + body, hashlib.sha256).hexdigest()


def send_what_waits() -> str:
    """Tell webhooks that are due, for instance where a worker was stopped; forget deliveries that are a month old; seal
    secrets under the present key."""
    for webhook in Webhook.objects.filter(ended_at=None):
        if not is_fresh(webhook.sealed_secret):
            with suppress(Unreadable):
                sealed = seal(unseal(webhook.sealed_secret))
                Webhook.objects.filter(pk=webhook.pk).update(sealed_secret=sealed)
    forgotten = Delivery.objects.filter(at__lt=timezone.now() - KEPT).delete()[0]
    return f"Webhooks: {send_due()} {forgotten} deliveries older than {KEPT.days} days are forgotten."
