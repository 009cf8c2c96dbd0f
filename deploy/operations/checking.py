"""Whether an installation is as it should be: one line for each thing, with what to do where it is not.

``ok`` is as it should be, ``look`` works but wants a decision, ``stop`` has to be mended before people use the site.
"""

from __future__ import annotations

import datetime as dt
import io
import shutil
import tempfile
import time
import uuid
import zoneinfo
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import pikepdf
from django.conf import settings
from django.core.checks import WARNING, run_checks
from django.core.files.storage import FileSystemStorage, storages
from django.core.mail import get_connection
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.utils import timezone

from deploy.operations import health
from deploy.operations.schemas import applied, missing, unknown
from registry.exchange.scanning import NotScanned, version
from registry.models import Change, MailHold, User
from registry.services.due import has_worker
from registry.services.sealed_factors import unreadable

OK, LOOK, STOP = "ok", "look", "stop"
LEAST_DISK_BYTES = 2_000_000_000
LEAST_DISK_SHARE = 0.1
WORKER_PATIENCE_S = 15.0
CLOCK_TOLERANCE_S = 5.0
SHEET_FONT = "Liberation Sans"


@dataclass(frozen=True)
class Line:
    """What was found of one thing; `cure` says what to do, and is empty where nothing is to be done."""

    state: str
    name: str
    found: str
    cure: str = ""


Check = Callable[[], Iterator[Line]]


def check_all() -> Iterator[Line]:
    """Everything, in order; one that fails in a way that nobody foresaw is a line as well."""
    for name, check in CHECKS.items():
        try:
            yield from check()
        except Exception as error:
            first = (str(error).splitlines() or [type(error).__name__])[0]
            yield Line(STOP, name, f"it could not be checked: {first}", "See the lines above; mend those first.")


def check_settings() -> Iterator[Line]:
    """Mode, address, transport, and what Django itself finds with `check --deploy`."""
    if settings.PRODUCTION:
        yield Line(OK, "mode", "production")
    else:
        yield Line(LOOK, "mode", "local", "On a server that others reach set UNLIT_MODE=production.")
    url = urlsplit(settings.SITE_URL)
    hosts = settings.ALLOWED_HOSTS
    if url.hostname and not any(host in {url.hostname, "*"} or url.hostname.endswith(host) for host in hosts):
        yield Line(STOP, "address", f"{settings.SITE_URL} is not among ALLOWED_HOSTS", f"Add {url.hostname} to it.")
    else:
        yield Line(OK, "address", settings.SITE_URL)
    if url.scheme == "https" and settings.SECURE_SSL_REDIRECT:
        yield Line(OK, "TLS", "https only, with strict transport security; cookies are secure")
    elif settings.PRODUCTION:
        yield Line(STOP, "TLS", "people may come without TLS", "Leave HTTPS unset, and give SITE_URL with https.")
    else:
        yield Line(LOOK, "TLS", "not used", "On a server set UNLIT_MODE=production, behind a proxy that ends TLS.")
    every = run_checks(include_deployment_checks=settings.PRODUCTION)
    found = [message for message in every if not message.is_silenced()]
    for message in found:
        if message.level >= WARNING:
            yield Line(STOP if message.is_serious() else LOOK, "settings", message.msg, message.hint or "")
    if not found:
        yield Line(OK, "settings", "nothing that Django warns of")


def check_secret_key() -> Iterator[Line]:
    key = settings.SECRET_KEY
    if len(key) < 50 or len(set(key)) < 5:
        yield Line(STOP, "secret key", "it can be guessed", "Make one: see SECRET_KEY in deploy/env.py.")
    else:
        yield Line(OK, "secret key", f"{len(key)} characters")
    if settings.SECRET_KEY_FALLBACKS:
        cure = "Two weeks after the change, and after manage.py run_due, leave SECRET_KEY_FALLBACKS out."
        yield Line(LOOK, "secret key", f"{len(settings.SECRET_KEY_FALLBACKS)} former keys still count", cure)


def check_database() -> Iterator[Line]:
    health.database()
    if connection.vendor == "postgresql":
        version = connection.cursor().connection.info.server_version // 10_000
        yield Line(OK, "database", f"PostgreSQL {version} answers")
    else:
        place = Path(str(settings.DATABASES["default"]["NAME"]))
        yield Line(OK, "database", f"the SQLite file {place.name} answers")
        if settings.PRODUCTION:
            yield Line(LOOK, "database", "SQLite", "For more than one node, or many who write, use PostgreSQL.")
    nodes = applied()
    if newer := unknown(nodes, MigrationLoader(connection)):
        yield Line(STOP, "schema", f"it is newer than this version ({newer[0]})", "Install the version that made it.")
    elif lacking := missing():
        cure = "Look at manage.py migrate --plan, make a backup, then run manage.py migrate."
        yield Line(STOP, "schema", f"{len(lacking)} migrations are not applied ({lacking[0]} …)", cure)
    else:
        yield Line(OK, "schema", f"up to date, {len(nodes)} migrations")


def check_clock() -> Iterator[Line]:
    """The clock of this machine and that of the database agree, and the time zone is known."""
    zoneinfo.ZoneInfo(settings.TIME_ZONE)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT clock_timestamp()")
            (there,) = cursor.fetchone()
        else:
            there = timezone.now()
    apart = abs((timezone.now() - there).total_seconds())
    if apart > CLOCK_TOLERANCE_S:
        yield Line(LOOK, "clock", f"{apart:.0f} s apart from the database", "Run a time service (chrony) on both.")
    last = Change.objects.order_by("-number").values_list("at", flat=True).first()
    if last and last > timezone.now() + dt.timedelta(minutes=5):
        yield Line(STOP, "clock", "it is behind the change log", "Set the clock of this machine.")
    elif apart <= CLOCK_TOLERANCE_S:
        yield Line(OK, "clock", f"time zone {settings.TIME_ZONE}, now {timezone.localtime():%Y-%m-%d %H:%M}")


def check_cache() -> Iterator[Line]:
    try:
        health.cache_table()
    except Exception as error:
        yield Line(STOP, "cache table", str(error).splitlines()[0], "Run manage.py migrate, which makes it.")
    else:
        yield Line(OK, "cache table", "all workers count failed log-ins together")


def check_files() -> Iterator[Line]:
    shared = not isinstance(storages["default"], FileSystemStorage)
    where = "the shared store" if shared else f"the folder {settings.MEDIA_ROOT}"
    try:
        health.write_and_read()
    except Exception as error:
        cure = "Look at FILE_STORE_URL." if shared else "Make the folder of MEDIA_DIR, writable for who runs the site."
        yield Line(STOP, "files", f"{where} cannot be used: {str(error).splitlines()[0]}", cure)
    else:
        yield Line(OK, "files", f"{where} can be written and read")


def check_disk() -> Iterator[Line]:
    """Room where this machine keeps files, and where it unpacks a backup."""
    places = {"temporary files": Path(tempfile.gettempdir())}
    if isinstance(storages["default"], FileSystemStorage):
        places["files"] = Path(settings.MEDIA_ROOT)
    if connection.vendor == "sqlite" and Path(str(settings.DATABASES["default"]["NAME"])).exists():
        places["database"] = Path(str(settings.DATABASES["default"]["NAME"])).parent
    for name, place in places.items():
        usage = shutil.disk_usage(health.nearest_folder(place))
        words = f"{usage.free / 1e9:.1f} GB free for {name}"
        if usage.free < LEAST_DISK_BYTES / 10:
            yield Line(STOP, "disk", words, "Make room.")
        elif usage.free < max(LEAST_DISK_BYTES, LEAST_DISK_SHARE * usage.total):
            yield Line(LOOK, "disk", words, "Make room before it is full.")
        else:
            yield Line(OK, "disk", words)


def check_mail() -> Iterator[Line]:
    if held := MailHold.objects.first():
        yield Line(LOOK, "mail", f"nobody is mailed {held}", "Where the site has moved here: manage.py resume_mail.")
    if "smtp" not in settings.EMAIL_BACKEND:
        yield Line(LOOK, "mail", "no mail server: people read their inbox on the site", "Give EMAIL_URL to mail them.")
        return
    server = f"{settings.EMAIL_HOST}:{settings.EMAIL_PORT}"
    try:
        mail = get_connection(fail_silently=False)
        mail.open()
        mail.close()
    except OSError as error:
        yield Line(
            STOP, "mail", f"{server} cannot be used: {error.strerror or type(error).__name__}", "Look at EMAIL_URL."
        )
    else:
        yield Line(OK, "mail", f"{server} takes mail from {settings.DEFAULT_FROM_EMAIL}")


def check_scanner() -> Iterator[Line]:
    """Whether somebody looks at files before they are kept."""
    if not settings.CLAMD:
        yield Line(
            LOOK, "virus scanner", "none", "Give CLAMD: files are only handed on, but people open them elsewhere."
        )
        return
    try:
        yield Line(OK, "virus scanner", version(settings.CLAMD))
    except NotScanned as error:
        yield Line(
            STOP, "virus scanner", f"{settings.CLAMD} does not answer ({error}): no file is taken", "Start clamd."
        )


def check_worker() -> Iterator[Line]:
    """A task that is put in line is done by somebody."""
    if not has_worker():
        yield Line(
            LOOK, "worker", "none: TASKS=immediate does it before the answer", "For more than a few people use one."
        )
        return
    from django_tasks_db.models import DBTaskResult

    from deploy.operations.tasks import live

    mark = uuid.uuid4().hex
    result = live.enqueue(mark)
    end = time.monotonic() + WORKER_PATIENCE_S
    while time.monotonic() < end:
        result.refresh()
        if result.is_finished:
            break
        time.sleep(0.2)
    if result.is_finished and result.return_value == mark:
        yield Line(OK, "worker", "it does what waits")
    else:
        # What nobody took in time would be done whenever a worker comes.
        DBTaskResult.objects.filter(pk=result.id).delete()
        cure = "Start one (systemctl start unlit-worker@1, which runs manage.py db_worker), or see its log."
        yield Line(STOP, "worker", f"nobody did a task within {WORKER_PATIENCE_S:.0f} s", cure)
    waiting = DBTaskResult.objects.ready().filter(enqueued_at__lt=timezone.now() - dt.timedelta(minutes=15)).count()
    if waiting:
        yield Line(LOOK, "worker", f"{waiting} tasks have waited for more than 15 minutes", "Run more workers.")


def check_paper() -> Iterator[Line]:
    """Sheets can be made: the libraries of the PDF writer are there, and the font that sheets are laid out for."""
    try:
        from reports.pdf import Document, render

        html = (
            '<!doctype html><html lang="en"><head><title>Check</title></head><body><p>Unlit – Ω µF °C</p></body></html>'
        )
        data = render(Document(html, f"body {{ font-family: '{SHEET_FONT}' }}", timezone.now()))
    except Exception as error:
        cure = "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core fonts-liberation"
        yield Line(STOP, "paper", f"no PDF file can be made: {str(error).splitlines()[0]}", cure)
        return
    with pikepdf.open(io.BytesIO(data)) as document:
        fonts = {
            str(one.BaseFont) for one in document.objects if isinstance(one, pikepdf.Dictionary) and "/BaseFont" in one
        }
    if any(SHEET_FONT.replace(" ", "-") in font or SHEET_FONT.replace(" ", "") in font for font in fonts):
        yield Line(OK, "paper", f"PDF files are made, with the font that sheets are laid out for ({SHEET_FONT})")
    else:
        cure = "apt-get install fonts-liberation: with another font sheets take more pages."
        yield Line(LOOK, "paper", f"PDF files are made, but {SHEET_FONT} is not installed", cure)


def check_people() -> Iterator[Line]:
    if User.objects.filter(is_superuser=True, is_active=True).exists():
        yield Line(OK, "people", f"{User.objects.filter(is_active=True).count()} may log in")
    else:
        yield Line(STOP, "people", "nobody can add sites and people", "Run manage.py createsuperuser.")
    if settings.PRODUCTION and (known := demo_people()):
        cure = "Deactivate them, or restore a site without demo data."
        yield Line(STOP, "people", f"{known} people of the demo may log in with its password", cure)


def demo_people() -> int:
    """How many people may log in with the password of the demo, which the README tells everybody."""
    from reports.demo.people import PEOPLE
    from reports.management.commands.demo import PASSWORD

    people = User.objects.filter(is_active=True, username__in=[person.username for person in PEOPLE])
    return sum(person.check_password(PASSWORD) for person in people)


def check_sealed() -> Iterator[Line]:
    """What is sealed under the secret key can be read: a backup that was put back beside another key is found."""
    if lost := unreadable():
        cure = (
            "Give the key that they were sealed under as SECRET_KEY, or as SECRET_KEY_FALLBACKS; without it "
            "manage.py reset_mfa USER for people, and a new webhook."
        )
        yield Line(STOP, "sealed", f"{lost} secrets of second factors and webhooks cannot be read", cure)
    else:
        yield Line(OK, "sealed", "the secrets of second factors and webhooks can be read")


def check_static() -> Iterator[Line]:
    manifest = Path(settings.STATIC_ROOT) / "staticfiles.json"
    if manifest.exists():
        yield Line(OK, "static files", "collected")
    else:
        yield Line(
            STOP,
            "static files",
            f"not collected in {settings.STATIC_ROOT}: pages have no style",
            "Run manage.py collectstatic --no-input.",
        )


CHECKS: dict[str, Check] = {
    "settings": check_settings,
    "secret key": check_secret_key,
    "database": check_database,
    "cache table": check_cache,
    "clock": check_clock,
    "files": check_files,
    "disk": check_disk,
    "static files": check_static,
    "paper": check_paper,
    "mail": check_mail,
    "virus scanner": check_scanner,
    "people": check_people,
    "sealed": check_sealed,
    "worker": check_worker,
}
