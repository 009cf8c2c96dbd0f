"""A mail server that refuses, hangs or takes one address and not another: no step of a loop waits for it or fails by
it, every notice is in the inbox, and what was not mailed is mailed later.

The servers are sockets of the standard library at 127.0.0.1, which speak as much SMTP (RFC 5321) as is asked of them.
"""

from __future__ import annotations

import datetime as dt
import io
import socket
import socketserver
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core.cache import cache
from django.core.management import call_command
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from loops.models import Loop, LoopState
from loops.services import approvals
from registry.models import Notice, NoticeKind
from registry.services import notices
from registry.services.due import run_due
from reports.services import issue

pytestmark = pytest.mark.django_db
DATABASE = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


class Letters(socketserver.StreamRequestHandler):
    """Takes mail, but for addresses that the server does not know."""

    def handle(self) -> None:
        server: Any = self.server
        self.wfile.write(b"220 post\r\n")
        while line := self.rfile.readline().decode().strip():
            word = line[:4].upper()
            if word == "RCPT" and server.unknown and server.unknown in line:
                self.wfile.write(b"550 nobody here of that name\r\n")
            elif word == "DATA":
                self.wfile.write(b"354 go on\r\n")
                letter = b""
                while not letter.endswith(b"\r\n.\r\n"):
                    letter += self.rfile.readline()
                server.letters.append(letter.decode())
                self.wfile.write(b"250 taken\r\n")
            else:
                self.wfile.write(b"221 bye\r\n" if word == "QUIT" else b"250 ok\r\n")


@pytest.fixture
def use_server(settings: Any) -> Callable[[int], None]:
    """`use_server(port)`: mail goes to that port of this machine. None rests from an earlier test."""

    def use(port: int) -> None:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", port, 1

    cache.delete(notices.RESTS)
    return use


@pytest.fixture
def post_office() -> Iterator[Any]:
    """A server that takes mail: `letters`; `unknown` is an address that it refuses."""
    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Letters) as server:
        office: Any = server
        office.letters, office.unknown, office.daemon_threads = [], "", True
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield office
        server.shutdown()
        thread.join()


@pytest.fixture(params=["refuses", "hangs"])
def dead_port(request: pytest.FixtureRequest) -> Iterator[int]:
    """A port at which nobody listens, or at which somebody takes the connection and never says a word."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        if request.param == "hangs":
            listener.listen(8)
        yield listener.getsockname()[1]


def age_all(minutes: int) -> None:
    Notice.objects.update(at=timezone.now() - dt.timedelta(minutes=minutes))


def subjects(person: Any) -> list[str]:
    return [notice.subject for notice in notices.inbox(person).order_by("pk")]


def whole_way(loop: Loop, people: Any, password: str) -> None:
    approvals.submit(loop.pk, people["designer"])
    approvals.return_loop(loop.pk, people["approver"], text="Which cable?")
    approvals.submit(loop.pk, people["designer"])
    issue(loop.pk, people["approver"], password, None)


@pytest.mark.parametrize("by", ["worker", "thread"])
def test_every_step_goes_on_while_the_mail_server_is_dead(
    by: str,
    dead_port: int,
    use_server: Any,
    settings: Any,
    loop: Any,
    people: Any,
    password: str,
    django_capture_on_commit_callbacks: Any,
) -> None:
    use_server(dead_port)
    if by == "worker":
        settings.TASKS = DATABASE
    with django_capture_on_commit_callbacks() as after:
        whole_way(loop, people, password)
    assert Loop.objects.get(pk=loop.pk).state == LoopState.ISSUED
    assert subjects(people["approver"]) == ["PT-1101 waits for approval."] * 2
    assert subjects(people["designer"]) == ["PT-1101 was returned: Which cable?", "PT-1101 was approved and issued."]
    assert notices.unmailed().count() == 4
    if by == "worker":
        tasks = DBTaskResult.objects.filter(task_path="registry.tasks.mail_notices").order_by("run_after")
        assert tasks.count() == 4 and tasks[0].run_after > timezone.now()
        keys = [key for task in tasks for key in task.args_kwargs["args"][0]]
        assert "does not answer" in notices.mail(keys)
        again = DBTaskResult.objects.get(task_path="registry.tasks.mail_waiting")
        assert again.run_after > timezone.now() + notices.REST
    else:
        for callback in after:
            callback()
    assert notices.unmailed().count() == 4, "none is taken for sent"


def test_a_server_that_does_not_answer_is_left_alone_and_tried_again(
    dead_port: int, post_office: Any, use_server: Any, loop: Any, people: Any, password: str
) -> None:
    whole_way(loop, people, password)
    keys = list(Notice.objects.values_list("pk", flat=True))
    use_server(dead_port)
    assert "0 mails sent, 2 wait: the mail server does not answer" in notices.mail(keys)
    use_server(post_office.server_address[1])
    assert notices.mail(keys) == "2 mails wait: the mail server did not answer lately."
    assert not post_office.letters
    cache.delete(notices.RESTS)
    assert notices.mail_waiting() == "2 mails sent."
    assert sorted(letter.count("http") for letter in post_office.letters) == [2, 2], "two lines in each"
    assert notices.mail_waiting() == "nothing waits."


def test_an_address_that_is_refused_keeps_no_mail_from_others(post_office: Any, use_server: Any, people: Any) -> None:
    post_office.unknown = people["reader"].email
    use_server(post_office.server_address[1])
    rows = [notices.tell(people[name], NoticeKind.APPROVED, "Look", "/") for name in ("reader", "planner", "keeper")]
    Notice.objects.bulk_create(rows)
    assert notices.mail_waiting() == "2 mails sent, 1 refused by the mail server."
    assert [notice.person for notice in notices.unmailed()] == [people["reader"]]
    assert cache.get(notices.RESTS) is None, "the server answers"


def due_mail() -> str:
    """What run_due says of mail."""
    return next(line for line in run_due(timezone.localdate()) if line.startswith("Mail: "))


def test_run_due_tells_the_digest_with_a_dead_server_and_mails_it_when_it_is_back(
    dead_port: int, post_office: Any, use_server: Any, certificate: Any, people: Any, settings: Any
) -> None:
    settings.TASKS = DATABASE
    type(certificate).objects.filter(pk=certificate.pk).update(valid_to=timezone.localdate() + dt.timedelta(days=20))
    use_server(dead_port)
    told = io.StringIO()
    call_command("run_due", stdout=told)
    assert "1 reached a lead time; 4 people told" in told.getvalue()
    age_all(minutes=30)
    assert "the mail server does not answer" in due_mail()
    assert notices.unmailed().count() == 4
    use_server(post_office.server_address[1])
    assert due_mail() == "Mail: 4 mails sent."
    assert len(post_office.letters) == 4 and all("1 runs out" in letter for letter in post_office.letters)
    assert due_mail() == "Mail: nothing waits."


def test_the_digest_as_files(tmp_path: Any, certificate: Any, people: Any, settings: Any) -> None:
    cache.delete(notices.RESTS)
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    settings.EMAIL_FILE_PATH = str(tmp_path)
    type(certificate).objects.filter(pk=certificate.pk).update(valid_to=timezone.localdate() - dt.timedelta(days=2))
    run_due(timezone.localdate())
    age_all(minutes=30)
    assert due_mail() == "Mail: 4 mails sent."
    text = "".join(path.read_text() for path in tmp_path.iterdir())
    assert text.count("Subject: Unlit: 1 runs out (1 over already): EXA 21 ATEX 0101") == 4
    assert text.count(f"{settings.SITE_URL}/expiry/") == 4
