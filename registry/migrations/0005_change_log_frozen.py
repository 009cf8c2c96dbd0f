from django.db import migrations

from registry.digests import FIRST_MARK, mark_of
from registry.triggers import freezing

forward, backward = freezing("registry_change")
BATCH = 1_000


def take_over(apps, schema_editor):
    """Begin the log with a line for each revision that there is, so that the chain proves those too."""
    Revision = apps.get_model("registry", "Revision")
    Change = apps.get_model("registry", "Change")
    number, mark, rows, archived = 0, FIRST_MARK, [], {}
    for revision in Revision.objects.select_related("author").order_by("pk").iterator(BATCH):
        number += 1
        row = line(revision, archived, number, mark)
        mark = row["mark"]
        rows.append(Change(**row))
        if len(rows) == BATCH:
            Change.objects.bulk_create(rows)
            rows = []
    Change.objects.bulk_create(rows)


def line(revision, archived, number, mark):
    author, content = revision.author, revision.snapshot
    key = (revision.kind, revision.record_id)
    before, now = archived.get(key), bool(content.get("archived"))
    archived[key] = now
    verb = "add" if before is None else "change" if before == now else "archive" if now else "restore"
    site = {"id": revision.record_id} if revision.kind == "site" else content.get("site") or {"id": None}
    detail = {"revision": revision.number, "origin": revision.origin, "taken_over": True}
    names = (author.full_name, f"{author.first_name} {author.last_name}".strip(), author.username)
    row = {
        "number": number,
        "at": revision.created_at,
        "actor_id": author.pk,
        "actor_name": next(name for name in names if name)[:150],
        "verb": verb,
        "kind": revision.kind,
        "record_id": revision.record_id,
        "site_id": site["id"],
        "label": revision.label,
        "detail": detail | ({"reason": revision.reason} if revision.reason else {}),
        "digest": revision.digest,
        "previous_mark": mark,
    }
    return row | {"mark": mark_of(row)}


class Migration(migrations.Migration):
    dependencies = [("registry", "0004_change_log")]
    operations = [
        migrations.RunPython(forward, backward),
        migrations.RunPython(take_over, migrations.RunPython.noop),
    ]
