"""A used site of the test database, with an issued loop and a file, and archives of it."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.files.storage import default_storage
from PIL import Image

from deploy.operations.archive import MANIFEST, SUMS
from deploy.operations.backing_up import Made, back_up, files_in_store


@pytest.fixture(autouse=True)
def empty_store() -> Iterator[None]:
    """Each test begins with an empty store and leaves it so."""
    for name in list(files_in_store()):
        default_storage.delete(name)
    yield
    for name in list(files_in_store()):
        default_storage.delete(name)


def picture() -> bytes:
    target = io.BytesIO()
    Image.new("RGB", (3, 2), "teal").save(target, "PNG")
    return target.getvalue()


@pytest.fixture
def used_site(request: pytest.FixtureRequest) -> Any:
    """The loop of a site that is in use: approved and issued with its sheet, then changed by who approved it, which the
    database would refuse in the other order; a certificate has a file, and a record was made that is gone again."""
    from loops.services.approvals import submit
    from loops.services.loops import save_loop
    from registry.models import Membership, Notice, Role, User
    from registry.selectors import record_text
    from registry.services.attachments import attach
    from registry.services.records import Author
    from reports.services import issue
    from tests.conftest import PASSWORD

    people, loop, site = (request.getfixturevalue(name) for name in ("people", "loop", "site"))
    certificate = request.getfixturevalue("certificate")
    attach("certificate", certificate.pk, people["keeper"], name="scan.png", content=picture())
    submitted = submit(loop.pk, people["designer"])
    issue(loop.pk, people["approver"], PASSWORD, submitted.version)
    Membership.objects.create(user=people["approver"], site=site, role=Role.DESIGNER)
    author = Author(User.objects.get(pk=people["approver"].pk), reason="Another service")
    loop = save_loop(record_text(loop) | {"service": "Druck “α” \U0001f9ea"}, author, loop_id=loop.pk)
    newest, before = Notice.objects.order_by("-pk")[:2]
    newest.delete()
    # No entry takes such a text any more; a database may hold one from before that rule.
    Notice.objects.filter(pk=before.pk).update(subject="Druck \u2028 \x85 \u202e")
    return loop


@pytest.fixture
def backup(used_site: Any, tmp_path: Path) -> Made:
    """A backup of that site."""
    return back_up(tmp_path / "site.zip")


KEPT: dict[str, bytes] = {}


@pytest.fixture
def kept(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A backup of such a site, made once for all tests that want no more than the file; the database may be empty."""
    if not KEPT:
        KEPT["site"] = request.getfixturevalue("backup").path.read_bytes()
    path = tmp_path / "kept.zip"
    path.write_bytes(KEPT["site"])
    return path


@pytest.fixture
def altered(kept: Path, tmp_path: Path) -> Callable[..., Path]:
    """`altered(change)`: another archive, whole in itself, whose members were changed by a function before its sums
    were written; `change` gets and alters {name: bytes}."""

    def make(change: Callable[[dict[str, bytes]], Any], sums: bool = True) -> Path:
        import hashlib

        with zipfile.ZipFile(kept) as archive:
            members = {name: archive.read(name) for name in archive.namelist()}
        change(members)
        if sums:
            members[SUMS] = "".join(
                f"{hashlib.sha256(content).hexdigest()}  {name}\n" for name, content in members.items() if name != SUMS
            ).encode()
        path = tmp_path / "altered.zip"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, content in members.items():
                archive.writestr(name, content)
        return path

    return make


def in_manifest(**changes: Any) -> Callable[[dict[str, bytes]], None]:
    """A change of some words of the manifest."""

    def change(members: dict[str, bytes]) -> None:
        members[MANIFEST] = json.dumps(json.loads(members[MANIFEST]) | changes).encode()

    return change
