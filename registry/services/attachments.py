"""Files of the register: taken in by what they hold, stored once under their digest, proven on every reading."""

from __future__ import annotations

import hashlib
import io
import logging
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone
from django.utils.translation import gettext as _
from PIL import Image

from registry import access
from registry.exchange.pdf import FAULTS, PdfError, pdf_text
from registry.exchange.scanning import Harmful, NotScanned, scan
from registry.models import Attachment, AttachmentRetirement, Certificate, Deed, Equipment, User
from registry.prepared import PreparedAmong
from registry.services.changes import Told, recorded, tell

MODELS: dict[str, type[Certificate] | type[Equipment]] = {"certificate": Certificate, "equipment": Equipment}
IMAGES = {"PNG": "image/png", "JPEG": "image/jpeg", "WEBP": "image/webp"}
ENDINGS = {"application/pdf": ".pdf", "image/png": ".png", "image/jpeg": ".jpg", "image/webp": ".webp"}
MOST_PIXELS = 60_000_000
WHOLE_AFTER_ALL = {FAULTS["empty"], FAULTS["pages"], FAULTS["long"]}
"""What the reader of PDF text says of files that open and are not for pasting: a scan, a long document."""

logger = logging.getLogger(__name__)


class FileRefused(Exception):
    """The file is not taken, or cannot be retired; the text says why and what to do."""


class FileDamaged(Exception):
    """Stored bytes are missing or differ from their digest: they are given to nobody."""


@dataclass(frozen=True)
class BrokenFile:
    """A stored file that cannot be proven, and what is wrong with it."""

    attachment: Attachment
    fault: str


def media_type_of(content: bytes) -> str:
    """The type of a file by its first bytes, after it was opened and, where there is a virus scanner, looked at.
    Raises FileRefused."""
    most = settings.ATTACHMENT_MAX_BYTES
    if not content:
        raise FileRefused(_("This file is empty: choose another."))
    if len(content) > most:
        raise FileRefused(
            _("This file is larger than %(most)s MB: save it smaller, or in parts.") % {"most": most // 1000000}
        )
    if settings.CLAMD:
        refuse_harmful(content)
    if content.startswith(b"%PDF-"):
        try:
            pdf_text(content)
        except PdfError as error:
            if str(error) not in WHOLE_AFTER_ALL:
                raise FileRefused(_("This PDF cannot be opened: save it again without protection.")) from error
        return "application/pdf"
    try:
        with Image.open(io.BytesIO(content), formats=tuple(IMAGES)) as image:
            found, pixels = str(image.format), image.width * image.height
            if pixels <= MOST_PIXELS:
                image.load()
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise FileRefused(_("Attach a PDF, or a picture as PNG, JPEG or WebP that can be opened.")) from error
    if pixels > MOST_PIXELS:
        raise FileRefused(
            _("This picture has more than %(MOST_PIXELS)s million points: save it smaller.")
            % {"MOST_PIXELS": MOST_PIXELS // 1000000}
        )
    return IMAGES[found]


def refuse_harmful(content: bytes) -> None:
    """Have the virus scanner look at a file. What nobody could look at is not taken either. Raises FileRefused."""
    try:
        scan(settings.CLAMD, content)
    except Harmful as found:
        logger.warning("A file that was sent is harmful: %s", found)
        raise FileRefused(
            _("The virus scanner finds something harmful in this file (%(name)s).") % {"name": found}
        ) from found
    except NotScanned as error:
        logger.error("The virus scanner cannot be asked: %s", error)
        raise FileRefused(
            _("The virus scanner does not answer: try again later, or tell the administrator.")
        ) from error


def safe_name(name: str, media_type: str) -> str:
    """A file name without folders and signs that mean something elsewhere, with the ending of what the file is."""
    stem = re.sub(r"[^\w .()+-]+", "_", re.split(r"[\\/]", name)[-1]).strip(" .")
    stem = re.sub(r"\.(pdf|png|jpe?g|webp)$", "", stem, flags=re.IGNORECASE)
    return (stem[:100].strip(" .") or "file") + ENDINGS[media_type]


def attach(kind: str, record_id: int, user: User, *, name: str, content: bytes) -> Attachment:
    """Store a file with a record. Raises FileRefused, PermissionDenied."""
    access.require(user, "register.edit")
    media_type = media_type_of(content)
    with recorded():
        record = MODELS[kind]._default_manager.select_for_update().get(pk=record_id)
        return take_in(Place(kind, record_id, record.label()), user, name=name, content=content, media_type=media_type)


@dataclass(frozen=True)
class Place:
    """What a file belongs to, and how the change log calls that; `site_id` where it is the business of one site."""

    kind: str
    record_id: int
    label: str
    site_id: int | None = None


def take_in(place: Place, user: User, *, name: str, content: bytes, media_type: str) -> Attachment:
    """Store a file of the type that `media_type_of` told, for a caller who holds what it belongs to and has asked
    whether the person may. Raises FileRefused."""
    kind, record_id = place.kind, place.record_id
    mark = hashlib.sha256(content).hexdigest()
    with recorded():
        if Attachment.objects.filter(kind=kind, record_id=record_id, sha256=mark).exists():
            raise FileRefused(_("This file is attached already."))
        row = Attachment(
            kind=kind,
            record_id=record_id,
            name=safe_name(name, media_type),
            media_type=media_type,
            size_bytes=len(content),
            sha256=mark,
            added_by=user,
            added_at=timezone.now(),
        )
        store(row, content)
        row.save(force_insert=True)
        told = {"name": row.name, "media_type": media_type, "size_bytes": row.size_bytes}
        tell(Told(Deed.ATTACH, kind, record_id, place.label, user, place.site_id, mark, told))
        return row


def store(row: Attachment, content: bytes) -> None:
    """Write the bytes where their digest says. What lies there already and is whole is left; damage is mended."""
    if default_storage.exists(row.path):
        if not fault_of(row):
            return
        default_storage.delete(row.path)
    default_storage.save(row.path, ContentFile(content))


def retire(attachment_id: int, user: User, *, reason: str) -> AttachmentRetirement:
    """State that a file no longer counts; the reason is required. Raises FileRefused, PermissionDenied."""
    access.require(user, "register.edit")
    with recorded():
        row = Attachment.objects.select_for_update().get(pk=attachment_id)
        record = MODELS[row.kind]._default_manager.get(pk=row.record_id)
        return let_go(row, Place(row.kind, row.record_id, record.label()), user, reason=reason)


def let_go(row: Attachment, place: Place, user: User, *, reason: str) -> AttachmentRetirement:
    """Retire a file, for a caller who has asked whether the person may. Raises FileRefused."""
    reason = reason.strip()[:400]
    if not reason:
        raise FileRefused(_("Say why the file no longer counts."))
    with recorded():
        if AttachmentRetirement.objects.filter(attachment=row).exists():
            raise FileRefused(_("This file is retired already."))
        told = {"name": row.name, "retired": True, "reason": reason}
        tell(Told(Deed.ATTACH, row.kind, row.record_id, place.label, user, place.site_id, row.sha256, told))
        return AttachmentRetirement.objects.create(
            attachment=row, reason=reason, person=user, retired_at=timezone.now()
        )


def file_bytes(row: Attachment) -> bytes:
    """The stored bytes, after checking that they are the ones that were attached. Raises FileDamaged."""
    try:
        with default_storage.open(row.path) as file:
            content: bytes = file.read()
    except OSError as error:
        raise FileDamaged(_("The file is missing in the store: tell the administrator.")) from error
    if hashlib.sha256(content).hexdigest() != row.sha256:
        raise FileDamaged(_("The file differs from the one that was attached: tell the administrator."))
    return content


def fault_of(row: Attachment) -> str:
    """What is wrong with a stored file, or an empty text."""
    try:
        file_bytes(row)
    except FileDamaged as error:
        return str(error)
    return ""


def broken_files() -> Iterator[BrokenFile]:
    """Every stored file that is missing or differs from its digest."""
    for row in Attachment.objects.order_by("pk").iterator():
        if fault := fault_of(row):
            yield BrokenFile(row, fault)


def files_of(kind: str, record_id: int) -> list[Attachment]:
    """The files of a record, those that count first."""
    rows = Attachment.objects.filter(kind=kind, record_id=record_id).select_related("added_by", "retirement__person")
    return sorted(rows, key=lambda row: hasattr(row, "retirement"))


@cache
def counting(kind: str) -> PreparedAmong[Attachment]:
    """The read of the files that count of some records of a kind."""
    return PreparedAmong(
        lambda keys: Attachment.objects.filter(kind=kind, record_id__in=keys, retirement=None).order_by()
    )


def files_by_record(kind: str, record_ids: Iterable[int]) -> dict[int, list[Attachment]]:
    """The files that count of some records of a kind, by their keys, the newest first; in one query."""
    found: dict[int, list[Attachment]] = {}
    for row in sorted(counting(kind)(record_ids), key=lambda row: -row.pk):
        found.setdefault(row.record_id, []).append(row)
    return found
