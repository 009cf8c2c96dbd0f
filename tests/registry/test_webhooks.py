"""Other systems are told what was done: signed, in order, tried again, to allowed hosts alone, never what records hold.

The receiver is a server of the standard library at 127.0.0.1; the signature is checked with the standard library's hmac
over RFC 2104.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import http.server
import ipaddress
import json
import re
import threading
from collections.abc import Callable, Iterator
from typing import Any
from unittest import mock

import pytest
from django.utils import timezone

from registry.exchange.posting import Allowed, NotSent, post
from registry.models import Change, Delivery, Notice, Webhook
from registry.sealing import unseal
from registry.services import webhooks as service
from tests.registry.login.ways import show_password

LOOPBACK = [ipaddress.ip_network("127.0.0.0/8")]


class Receiver:
    """A server that keeps what it is sent and answers as it is told."""

    def __init__(self) -> None:
        self.got: list[tuple[str, dict[str, str], bytes]] = []
        self.answers: list[tuple[int, dict[str, str]]] = []
        outer = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                outer.got.append((self.path, dict(self.headers), body))
                status, headers = outer.answers.pop(0) if outer.answers else (204, {})
                self.send_response(status)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.end_headers()

            def log_message(self, *arguments: Any) -> None:
                pass

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.thread = threading.Thread(target=self.server.serve_forever)
        self.thread.start()

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.server.server_port}"

    @property
    def numbers(self) -> list[int]:
        """The deeds that were taken in, in the order in which they came."""
        return [change["number"] for _, _, body in self.got for change in json.loads(body)["changes"]]

    def close(self) -> None:
        self.server.shutdown()
        self.thread.join()
        self.server.server_close()


@pytest.fixture
def receiver(settings: Any) -> Iterator[Receiver]:
    found = Receiver()
    settings.WEBHOOK_ORIGINS = [found.origin, "https://hooks.example.org"]
    settings.WEBHOOK_NETWORKS = LOOPBACK
    yield found
    found.close()


@pytest.fixture
def hook(receiver: Receiver, people: Any, site: Any) -> Callable[..., tuple[Webhook, str]]:
    def make(by: str = "administrator", **typed: Any) -> tuple[Webhook, str]:
        asked = {"name": "Planning", "url": f"{receiver.origin}/unlit?a=1", "site": "NORTH"} | typed
        return service.make(people[by], asked)

    return make


@pytest.mark.django_db
def test_a_body_names_what_was_touched_and_is_signed(hook: Any, receiver: Receiver, area: Any, loop: Any) -> None:
    secret = hook()[1]
    Webhook.objects.update(position=0)
    assert "1 body was" in service.send_due()
    path, headers, body = receiver.got[0]
    assert path == "/unlit?a=1" and headers["Host"] == receiver.origin.removeprefix("http://")
    stamp = headers["Unlit-Timestamp"]
    wanted = hmac.new(secret.encode(), f"{stamp}.".encode() + body, hashlib.sha256).hexdigest()
    assert headers["Unlit-Signature"] == f"v1={wanted}"
    assert abs(int(stamp) - timezone.now().timestamp()) < 60
    content = json.loads(body)
    change = Change.objects.get(kind="loop", record_id=loop.pk)
    told = next(row for row in content["changes"] if row["kind"] == "loop")
    assert told == {
        "number": change.number,
        "at": change.at.isoformat(),
        "verb": "add",
        "kind": "loop",
        "record_id": loop.pk,
        "site": "NORTH",
        "revision": 1,
        "digest": change.digest,
    }
    for word in (b"PT-1101", b"Northlight", b"Reactor", b"designer", b"EXA"):
        assert word not in body
    assert not {"person"} & {row["kind"] for row in content["changes"]}
    delivery = Delivery.objects.get()
    assert (delivery.taken, delivery.status, delivery.count) == (True, 204, len(content["changes"]))


@pytest.mark.django_db
def test_other_sites_and_other_kinds_are_left_out(hook: Any, receiver: Receiver, area: Any, save: Any) -> None:
    hook(kinds=["area", "cable_type"])
    save("cable_type", {"name": "Pair"})
    save("certificate", {"scheme": "ATEX", "number": "EXA 21 ATEX 1", "issue": "0"})
    south = {"site": "SOUTH", "name": "Bay", "zone": "1", "group": "IIC", "temperature_class": "T4"}
    save("area", south, by="neighbour")
    service.send_due()
    ((_, _, body),) = receiver.got
    assert [(row["kind"], row["site"]) for row in json.loads(body)["changes"]] == [("cable_type", "")]


@pytest.mark.django_db
def test_everything_is_told_in_order_in_small_bodies(hook: Any, receiver: Receiver, save: Any, settings: Any) -> None:
    hook()
    for number in range(7):
        save("cable_type", {"name": f"Pair {number}"})
    with mock.patch.object(service, "BATCH", 3):
        service.send_due()
    wanted = list(Change.objects.filter(kind="cable_type").order_by("number").values_list("number", flat=True))
    assert [number for number in receiver.numbers if number in wanted] == wanted
    assert max(len(json.loads(body)["changes"]) for _, _, body in receiver.got) == 3
    count = len(receiver.got)
    assert service.send_due() == "0 bodies were taken." and len(receiver.got) == count


@pytest.mark.django_db
@pytest.mark.parametrize(
    "answer", [(500, {}), (302, {"Location": "/elsewhere"}), (301, {"Location": "http://x.example/"})]
)
def test_what_is_not_taken_is_tried_again_later_each_time(
    answer: Any, hook: Any, receiver: Receiver, save: Any
) -> None:
    webhook, _ = hook()
    save("cable_type", {"name": "Pair"})
    receiver.answers = [answer, answer]
    service.send_due()
    webhook.refresh_from_db()
    first = webhook.next_try_at - timezone.now()
    assert webhook.failures == 1 and dt.timedelta(seconds=20) < first <= service.FIRST_WAIT
    service.send_due()
    assert len(receiver.got) == 1, "it waits, and a redirect is not followed"
    Webhook.objects.update(next_try_at=timezone.now())
    service.send_due()
    webhook.refresh_from_db()
    assert webhook.failures == 2 and webhook.next_try_at - timezone.now() > dt.timedelta(seconds=50)
    Webhook.objects.update(next_try_at=timezone.now())
    service.send_due()
    webhook.refresh_from_db()
    assert (webhook.failures, webhook.next_try_at) == (0, None)
    assert {path for path, _, _ in receiver.got} == {"/unlit?a=1"}
    assert [row.taken for row in Delivery.objects.order_by("pk")] == [False, False, True]
    assert len(receiver.numbers) == 3 * len(set(receiver.numbers)), "the same is sent until it is taken"


@pytest.mark.django_db
def test_after_many_failures_it_pauses_and_its_maker_is_told(
    hook: Any, receiver: Receiver, save: Any, people: Any
) -> None:
    webhook, _ = hook()
    Webhook.objects.update(failures=service.MOST_FAILURES - 1)
    save("cable_type", {"name": "Pair"})
    receiver.answers = [(503, {})]
    service.send_due()
    webhook.refresh_from_db()
    assert webhook.paused_at is not None
    notice = Notice.objects.get(person=people["administrator"])
    assert "It answered 503." in notice.subject and notice.link == f"/webhooks/{webhook.pk}/"
    assert "0 bodies" in service.send_due() and len(receiver.got) == 1
    service.go_on(webhook, people["administrator"])
    assert "1 body" in service.send_due()


@pytest.mark.django_db
def test_two_workers_do_not_tell_the_same(hook: Any, receiver: Receiver, save: Any) -> None:
    webhook, _ = hook()
    save("cable_type", {"name": "Pair"})
    Webhook.objects.update(taken_until=timezone.now() + dt.timedelta(minutes=1))
    assert service.tell_one(webhook.pk) == 0 and not receiver.got
    Webhook.objects.update(taken_until=timezone.now() - dt.timedelta(seconds=1))
    assert service.tell_one(webhook.pk) == 1


@pytest.mark.django_db(transaction=True)
def test_it_is_told_after_the_commit_and_of_nothing_that_was_rolled_back(
    hook: Any, receiver: Receiver, save: Any
) -> None:
    from registry.services.records import EntryRefused

    hook()
    save("cable_type", {"name": "Pair"})
    assert len(receiver.got) == 1 and json.loads(receiver.got[0][2])["changes"][-1]["kind"] == "cable_type"
    with pytest.raises(EntryRefused):
        save("cable_type", {"name": "Pair"})
    assert len(receiver.got) == 1
    receiver.answers = [(500, {})]
    assert save("cable_type", {"name": "Triad"}).pk, "a receiver that fails keeps nobody from saving"


@pytest.mark.django_db
def test_the_secret_is_sealed_and_shown_once(
    receiver: Receiver, client_as: Callable[[str], Any], people: Any, site: Any
) -> None:
    client = client_as("administrator")
    typed = {"name": "Planning", "url": f"{receiver.origin}/x", "site": "NORTH", "kind.loop": "on"}
    assert client.post("/webhooks/new/", typed).status_code == 302 and not Webhook.objects.exists()
    show_password(client)
    page = client.post("/webhooks/new/", typed)
    assert page.status_code == 200
    secret = re.search(r'token-text" tabindex="0">([\w-]{43})<', page.content.decode())
    assert secret
    webhook = Webhook.objects.get()
    assert secret[1] not in webhook.sealed_secret and webhook.kinds == "loop"
    again = client.get(f"/webhooks/{webhook.pk}/").content.decode()
    assert secret[1] not in again
    assert unseal(webhook.sealed_secret) == secret[1]
    for command, field in (("pause", "paused_at"), ("end", "ended_at")):
        client.post(f"/webhooks/{webhook.pk}/", {"_do": command})
        assert getattr(Webhook.objects.get(), field) is not None
    assert Webhook.objects.get().sealed_secret == ""
    assert client.get(f"/webhooks/{webhook.pk}/").status_code == 404
    assert Change.objects.filter(kind="webhook").count() == 3


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"name": ""}, "name"),
        ({"url": "https://elsewhere.example.org/"}, "url"),
        ({"url": "ftp://hooks.example.org/"}, "url"),
        ({"url": "https://hooks.example.org:8443/"}, "url"),
        ({"url": "https://user@hooks.example.org/"}, "url"),
        ({"url": "https://hooks.example.org@evil.example/"}, "url"),
        ({"url": "https://hooks.example.org/ x"}, "url"),
        ({"url": "https://hooks.example.org/#x"}, "url"),
        ({"url": "https://[::1/"}, "url"),
        ({"url": "not an address"}, "url"),
        ({"site": "SOUTH"}, "site"),
        ({"site": ""}, "site"),
    ],
)
def test_a_faulty_form_makes_nothing(
    typed: dict[str, str], field: str, receiver: Receiver, client_as: Any, other_site: Any
) -> None:
    client = client_as("administrator")
    show_password(client)
    good = {"name": "Planning", "url": "https://hooks.example.org/unlit", "site": "NORTH"}
    page = client.post("/webhooks/new/", good | typed)
    assert page.status_code == 400 and f'id="f-{field}-errors"' in page.content.decode()
    assert not Webhook.objects.exists()


@pytest.mark.django_db
def test_who_keeps_them(hook: Any, client_as: Any, people: Any) -> None:
    webhook, _ = hook()
    for name, status in (("designer", 403), ("neighbour", 403), ("superuser", 200), ("administrator", 200)):
        assert client_as(name).get("/webhooks/").status_code == status
        assert client_as(name).get(f"/webhooks/{webhook.pk}/").status_code == status
    whole, _ = hook("superuser", site="")
    assert client_as("administrator").get(f"/webhooks/{whole.pk}/").status_code == 404


@pytest.mark.django_db
def test_secrets_are_sealed_anew_under_a_new_key(hook: Any, receiver: Receiver, save: Any, settings: Any) -> None:
    from registry import sealing

    secret = hook()[1]
    settings.SECRET_KEY_FALLBACKS, settings.SECRET_KEY = [settings.SECRET_KEY], "another key of the test" * 3
    assert not sealing.is_fresh(Webhook.objects.get().sealed_secret)
    service.send_what_waits()
    sealed = Webhook.objects.get().sealed_secret
    assert sealing.is_fresh(sealed) and sealing.unseal(sealed) == secret
    settings.SECRET_KEY_FALLBACKS, settings.SECRET_KEY = [], "a key that nobody kept" * 3
    save("cable_type", {"name": "Pair"})
    service.send_due()
    assert "cannot be read" in Delivery.objects.get().fault and not receiver.got


# ------------------------------------------------------------------------------------------------ where it may be sent

ORIGIN = "https://hooks.example.org"


@pytest.mark.parametrize(
    "address",
    ["127.0.0.1", "10.1.2.3", "192.168.1.1", "169.254.169.254", "172.16.0.1", "0.0.0.0", "100.64.0.1", "::1", "fe80::1",
     "fc00::1", "::ffff:127.0.0.1", "224.0.0.1", "::"],
)  # fmt: skip
def test_an_address_that_is_not_public_is_never_connected_to(address: str) -> None:
    """The ranges of IANA's special-purpose registries (RFC 6890), as the standard library knows them."""
    allowed = Allowed((ORIGIN,))
    assert not allowed.permits(address)
    with (
        mock.patch("registry.exchange.posting.addresses_of", return_value=[address]),
        mock.patch("urllib3.HTTPSConnectionPool") as pool,
        pytest.raises(NotSent, match="not public"),
    ):
        post(f"{ORIGIN}/x", b"{}", {}, allowed)
    assert not pool.called


def test_one_address_of_several_that_is_not_public_is_enough() -> None:
    with (
        mock.patch("registry.exchange.posting.addresses_of", return_value=["93.184.216.34", "10.0.0.1"]),
        pytest.raises(NotSent, match=r"10\.0\.0\.1"),
    ):
        post(f"{ORIGIN}/x", b"{}", {}, Allowed((ORIGIN,)))


def test_a_network_of_ones_own_is_reached_where_it_is_named() -> None:
    allowed = Allowed((ORIGIN,), (ipaddress.ip_network("10.1.0.0/16"), ipaddress.ip_network("fd00::/8")))
    assert allowed.permits("10.1.2.3") and allowed.permits("fd00::5") and allowed.permits("93.184.216.34")
    assert not allowed.permits("10.2.0.1") and not allowed.permits("::1")


def test_the_connection_goes_to_the_address_that_was_checked(receiver: Receiver) -> None:
    """A name that is looked up again and now leads elsewhere leads nowhere: it is looked up once."""
    port = receiver.server.server_port
    origin = f"http://hooks.example.org:{port}"
    allowed = Allowed((origin,), tuple(LOOPBACK))
    with mock.patch("registry.exchange.posting.addresses_of", return_value=["127.0.0.1"]) as looked_up:
        assert post(f"{origin}/x", b"{}", {}, allowed) == 204
    assert looked_up.call_count == 1 and receiver.got[0][1]["Host"] == f"hooks.example.org:{port}"


def test_nobody_answers() -> None:
    allowed = Allowed(("http://127.0.0.1:9",), tuple(LOOPBACK))
    with pytest.raises(NotSent, match="does not answer"):
        post("http://127.0.0.1:9/x", b"{}", {}, allowed)
    with pytest.raises(NotSent, match="not allowed"):
        post("http://127.0.0.1:10/x", b"{}", {}, allowed)
