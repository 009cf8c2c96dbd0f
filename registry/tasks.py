"""What the register has done later, by the worker."""

import base64
from typing import Any

from django_tasks import task

from registry.models import User
from registry.services import notices


@task()
def mail_notices(keys: list[int]) -> str:
    """Mail lines of inboxes."""
    return notices.mail(keys)


@task()
def mail_waiting() -> str:
    """Mail what a mail server did not take."""
    return notices.mail_waiting()


@task()
def foretell_change(
    person: int, kind: str, data: dict[str, Any], record_id: int, opened_version: int, name: str
) -> str:
    """Judge all loops that a change would touch, and tell the person."""
    from registry.services import foretelling

    found = foretelling.foretell_change(
        User.objects.get(pk=person), kind, data, record_id=record_id, opened_version=opened_version, name=name
    )
    return f"{len(found)} told."


@task()
def foretell_table(person: int, content: str, kind: str, name: str) -> str:
    """Judge all loops that a table, given in base 64, would touch, and tell the person."""
    from registry.services import foretelling

    found = foretelling.foretell_table(User.objects.get(pk=person), base64.b64decode(content), kind, name)
    return f"{len(found)} told."


@task()
def do_work(pk: int) -> str:
    """Do a piece of long work."""
    from registry.services import works

    return works.do(pk)


@task()
def send_webhooks() -> str:
    """Tell other systems what was done."""
    from registry.services import webhooks

    return webhooks.send_due()
