"""What the processes of a trial do: each runs one function of this module, at the moment when all are ready."""

from __future__ import annotations

import json
import sys
from typing import Any

PASSWORD = "Slow-copper-91-lantern"


def begin() -> None:
    """The people, the register and the loops of the demo."""
    import io

    from django.core.management import call_command

    call_command("demo", size="small", password=PASSWORD, stdout=io.StringIO())


def copies(count: int, submitted: bool) -> list[int]:
    """New loops like an issued one of the demo without conditions of use, in review if wanted; gives their keys."""
    from loops.models import Loop
    from loops.services import approvals, confirmations
    from loops.services.loops import save_loop
    from registry.models import User
    from registry.selectors import record_text
    from registry.services.records import Author
    from registry.views.forms import without_keys

    designer = User.objects.get(username="designer")
    pattern = next(
        loop
        for loop in Loop.objects.filter(state="issued").order_by("pk")
        if not approvals.obstacles(loop) and not [item for item in confirmations.matters(loop) if item.in_words]
    )
    text = without_keys(record_text(pattern))
    keys = []
    start = Loop.objects.count()
    for number in range(start, start + count):
        loop = save_loop(text | {"tag": f"CC-{number}", "notes": ""}, Author(designer))
        for matter in confirmations.matters(loop):
            confirmations.confirm(loop.pk, designer, mark=matter.mark, how="Seen on site.")
        if submitted:
            approvals.submit(loop.pk, designer)
        keys.append(loop.pk)
    return keys


def sessions() -> dict[str, str]:
    """The cookie of a session of the designer and of the approver."""
    from django.conf import settings
    from django.test import Client

    from registry.models import User

    found = {}
    for name in ("designer", "approver"):
        client = Client()
        client.force_login(User.objects.get(username=name), backend="registry.login.backends.Backend")
        found[name] = client.cookies[settings.SESSION_COOKIE_NAME].value
    return found


def save_many(keys: list[int], count: int, name: str) -> dict[str, Any]:
    """Add a word to the notes of a loop, `count` times, each read, changed and saved as an editor does; a save that
    comes too late is begun anew."""
    from django.db import OperationalError

    from loops.models import Loop
    from loops.services.loops import save_loop
    from registry.models import User
    from registry.selectors import record_text
    from registry.services.records import Author, StaleRecord

    author = Author(User.objects.get(username="designer"))
    told = {"saved": 0, "stale": 0, "locked": 0}
    for number in range(count):
        key = keys[number % len(keys)]
        for _ in range(2_000):
            loop = Loop.objects.get(pk=key)
            text = record_text(loop)
            text["notes"] = f"{text['notes']} {name}-{number}".strip()
            try:
                save_loop(text, author, loop_id=key, opened_version=loop.version)
            except StaleRecord:
                told["stale"] += 1
            except OperationalError:
                told["locked"] += 1
            else:
                told["saved"] += 1
                break
    return told


def words_kept(keys: list[int]) -> dict[str, int]:
    """How many words the notes hold, and how many revisions beyond the first there are."""
    from loops.models import Loop
    from registry.models import Revision

    notes = Loop.objects.filter(pk__in=keys).values_list("notes", flat=True)
    revisions = Revision.objects.filter(kind="loop", record_id__in=keys)
    return {
        "words": len({word for text in notes for word in text.split()}),
        "revisions": revisions.count() - len(keys),
    }


def sign(keys: list[int]) -> dict[str, int]:
    """Sign loops in review, each rendered as it is issued; counts them, and how often one was refused."""
    from loops.services.refusals import WorkflowRefused
    from registry.models import User
    from reports.services import issue

    approver = User.objects.get(username="approver")
    told = {"issued": 0, "refused": 0}
    for key in keys:
        try:
            issue(key, approver, PASSWORD, None)
        except WorkflowRefused:
            told["refused"] += 1
        else:
            told["issued"] += 1
    return told


def issues_of(keys: list[int]) -> dict[str, Any]:
    """What is stored of the issues of some loops, to be counted."""
    from loops.models import Approval
    from reports.models import Sheet

    approvals = Approval.objects.filter(loop__in=keys)
    return {
        "letters": [f"{loop}{letter}" for loop, letter in approvals.values_list("loop_id", "letter")],
        "short_ids": list(approvals.values_list("short_id", flat=True)),
        "numbers": list(Sheet.objects.filter(approval__in=approvals).values_list("number", flat=True)),
    }


def reasons_kept(keys: list[int]) -> list[str]:
    """The reasons of all revisions of some loops."""
    from registry.models import Revision

    return list(Revision.objects.filter(kind="loop", record_id__in=keys).values_list("reason", flat=True))


def version(key: int) -> int:
    """The version of a loop."""
    from loops.models import Loop

    return Loop.objects.get(pk=key).version


def texts(keys: list[int]) -> dict[str, Any]:
    """The text of some loops, as the API takes it."""
    from loops.models import Loop
    from registry.selectors import record_text

    return {str(loop.pk): record_text(loop) for loop in Loop.objects.filter(pk__in=keys)}


def broken() -> list[str]:
    """What verify_store finds."""
    from registry.services.proofs import prove

    return [sentence for _, sentence in prove().broken]


if __name__ == "__main__":
    import django

    django.setup()
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()
    sys.stdout.write(json.dumps(globals()[sys.argv[1]](*json.loads(sys.argv[2]))) + "\n")
