"""The API of loops: one shape of refusal, nothing stored by a judgement, no overwriting of somebody else's change."""

from __future__ import annotations

import base64
import copy
import json
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loops.models import Loop
from registry.models import Origin, Revision
from tests.loops.pages import row_counts
from tests.registry.api.asking import check_refusal, send

pytestmark = pytest.mark.django_db

VERIFY = "/api/v1/verify/"
CASE: dict[str, Any] = {
    "case": "road tanker overfill sensor",
    "basis": "IEC",
    "area": {
        "zone": "1",
        "group": "IIB",
        "temperature_class": "T4",
        "ambient_min": "-20 degC",
        "ambient_max": "40 degC",
    },
    "sources": [
        {
            "name": "S1",
            "level": "ia",
            "output": "linear",
            "isolated": True,
            "Uo": "10.5 V",
            "Io": "17.1 mA",
            "Po": "45 mW",
            "permitted": [{"group": "IIC", "Co": "2.41 uF", "Lo": "121.5 mH"}],
            "certificate": {"number": "EXA 06 ATEX 0092", "scheme": "ATEX", "status": "current"},
        }
    ],
    "devices": [
        {
            "name": "D1",
            "kind": "certified",
            "level": "ia",
            "group": "IIC",
            "Ui": "16 V",
            "Ii": "25 mA",
            "Pi": "60 mW",
            "Ci": "0.09 uF",
            "Li": "0.1 mH",
            "temperature_classes": [{"class": "T6", "ambient_max": "50 degC"}],
            "ambient_min": "-25 degC",
            "isolated_from_earth": True,
            "certificate": {"number": "EXB 00 ATEX 2048", "scheme": "ATEX", "status": "current"},
        }
    ],
    "cables": [
        {
            "name": name,
            "length": length,
            "C": "0.120 uF/km",
            "L": "0.492 mH/km",
            "L_is": "per_core",
            "type": "single_circuit",
        }
        for name, length in (("W1", "1000 m"), ("W2", "5000 m"))
    ],
}


@pytest.fixture
def api(client_as: Callable[[str], Any]) -> Any:
    return client_as("designer")


def test_the_published_overfill_loop(api: Any) -> None:
    """P & I Design Ltd, calculation 16115CAL001 issue A (02.02.2017): 0.810 uF and 6.004 mH, verified."""
    before = row_counts()
    response = send(api, VERIFY, CASE)
    assert response.status_code == 200
    result = response.json()
    assert result["verdict"] == "complies"
    assert result["case"] == CASE["case"]
    assert result["totals"] == {"C": "810 nF", "L": "6.004 mH", "C_permitted": "2.41 uF", "L_permitted": "121.5 mH"}
    assert result["halved"] is False
    assert row_counts() == before


@pytest.mark.parametrize(
    ("change", "path"),
    [
        (lambda case: case["sources"][0].update(Uo="10.5"), "sources.0.Uo"),
        (lambda case: case["devices"][0].update(Uii="1 V"), "devices.0.Uii"),
        (lambda case: case["cables"][1].update(length=5000), "cables.1.length"),
        (lambda case: case["area"].update(zone="7"), "area.zone"),
        (lambda case: case.update(sources={}), "sources"),
        (lambda case: case.update(surprise=1), "surprise"),
    ],
)
def test_a_fault_is_told_at_its_path(api: Any, change: Callable[[dict[str, Any]], None], path: str) -> None:
    case = copy.deepcopy(CASE)
    change(case)
    body = check_refusal(send(api, VERIFY, case), 400)
    assert path in body["errors"], body


@pytest.mark.parametrize(
    "body",
    [
        "",
        "[]",
        "3",
        "null",
        '"text"',
        "{",
        '{"a": NaN}',
        '{"a": Infinity}',
        '{"case": "x", "case": "y"}',
        '{"a": ' * 60 + "1" + "}" * 60,
        "[" * 100_000,
        '{"a":' * 100_000,
        "1" * 10_000,
        '{"case": "\\ud800"}',
        '{"\\udfff": 1}',
        '{"case": "\\u0000"}',
        '{"case": "\\u202e"}',
        b'{"case": "\xff\xfe"}',
        '{"sources": [[[]]], "devices": [null], "cables": [true], "area": 1}',
        '{"judge_on": "31.12.2026"}',
    ],
)
def test_what_is_no_case_is_refused(api: Any, body: str | bytes) -> None:
    check_refusal(send(api, VERIFY, body), 400)


def test_a_body_over_a_megabyte_is_refused(api: Any) -> None:
    check_refusal(send(api, VERIFY, json.dumps(CASE | {"case": "x" * 1_000_001})), 413)
    assert send(api, VERIFY, json.dumps(CASE | {"case": "x"}) + " " * 900_000).status_code == 200


def test_other_media_types_and_methods_are_refused(api: Any) -> None:
    check_refusal(api.post(VERIFY, {"case": "x"}), 415)
    check_refusal(api.post(VERIFY, "x", content_type="text/plain"), 415)
    for method in ("get", "put", "patch", "delete"):
        check_refusal(getattr(api, method)(VERIFY), 405)


def test_who_may_call(client_as: Callable[[str], Any], people: Any, password: str, loop: Loop) -> None:
    nobody = client_as("")
    refused = send(nobody, VERIFY, CASE)
    check_refusal(refused, 401)
    assert refused["WWW-Authenticate"].startswith("Basic")
    for address in ("/api/v1/loops/", f"/api/v1/loops/{loop.pk}/", f"/api/v1/loops/{loop.pk}/case/"):
        check_refusal(nobody.get(address), 401)

    def basic(name: str, word: str) -> dict[str, str]:
        return {"Authorization": "Basic " + base64.b64encode(f"{name}:{word}".encode()).decode()}

    assert send(nobody, VERIFY, CASE, **basic("reader", password)).status_code == 200
    check_refusal(send(nobody, VERIFY, CASE, **basic("reader", "wrong")), 401)
    check_refusal(send(nobody, VERIFY, CASE, Authorization="Basic !!"), 401)
    people["reader"].is_active = False
    people["reader"].save()
    check_refusal(send(nobody, VERIFY, CASE, **basic("reader", password)), 401)


def test_a_session_needs_its_token(people: Any) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(people["designer"])
    check_refusal(send(client, VERIFY, CASE), 403)


def test_a_loop_is_read_with_its_version(api: Any, loop: Loop) -> None:
    response = api.get(f"/api/v1/loops/{loop.pk}/")
    assert response["ETag"] == f'"{loop.version}"'
    body = response.json()
    assert body["verdict"] == "complies" and body["record"]["circuits"][0]["cables"][0]["length_m"] == "300 m"
    listed = api.get("/api/v1/loops/?q=1101&limit=1").json()
    assert listed["next"] is None and [row["id"] for row in listed["results"]] == [loop.pk]
    assert api.get("/api/v1/loops/?failing=1").json()["results"] == []
    for query in ("limit=x", "cursor=-3", "sort=wrong", "page=2"):
        check_refusal(api.get(f"/api/v1/loops/?{query}"), 400)


def test_a_loop_of_another_site_is_not_there(client_as: Callable[[str], Any], loop: Loop) -> None:
    client = client_as("neighbour")
    assert client.get("/api/v1/loops/").json()["results"] == []
    for address in (f"/api/v1/loops/{loop.pk}/", f"/api/v1/loops/{loop.pk}/case/", "/api/v1/loops/999/"):
        check_refusal(client.get(address), 404)
    check_refusal(send(client, f"/api/v1/loops/{loop.pk}/", {}, "put", **{"If-Match": '"1"'}), 404)


def test_what_was_read_can_be_sent_back(api: Any, loop: Loop) -> None:
    address = f"/api/v1/loops/{loop.pk}/"
    read = api.get(address)
    record = read.json()["record"]
    same = send(api, address, record, "put", **{"If-Match": read["ETag"]})
    assert same.status_code == 200
    assert Revision.objects.filter(kind="loop", record_id=loop.pk).count() == 1
    record["circuits"][0]["cables"][0]["length_m"] = "900 m"
    record["reason"] = "Measured on site"
    changed = send(api, address, record, "put", **{"If-Match": same["ETag"]})
    assert changed.status_code == 200
    assert changed.json()["verdict"] == "does_not_comply"
    revision = Revision.objects.filter(kind="loop", record_id=loop.pk).latest("number")
    assert (revision.number, revision.origin, revision.reason) == (2, Origin.API, "Measured on site")
    stale = check_refusal(send(api, address, record, "put", **{"If-Match": read["ETag"]}), 412)
    assert stale["code"] == "stale"


@pytest.mark.parametrize(("header", "status"), [("", 428), ("*", 428), ("3", 400), ('W/"1"', 412), ('"x"', 412)])
def test_a_change_names_the_version_it_rests_on(api: Any, loop: Loop, header: str, status: int) -> None:
    headers = {"If-Match": header} if header else {}
    record = api.get(f"/api/v1/loops/{loop.pk}/").json()["record"]
    check_refusal(send(api, f"/api/v1/loops/{loop.pk}/", record, "put", **headers), status)


def test_a_loop_is_made(api: Any, client_as: Callable[[str], Any], loop_data: Any) -> None:
    made = send(api, "/api/v1/loops/", loop_data(tag="PT-9"))
    assert made.status_code == 201
    loop = Loop.objects.get(tag="PT-9")
    assert made["Location"].endswith(f"/api/v1/loops/{loop.pk}/")
    assert made["ETag"] == '"1"'
    assert "tag" in check_refusal(send(api, "/api/v1/loops/", loop_data(tag="PT-9")), 400)["errors"]
    refused = check_refusal(send(api, "/api/v1/loops/", loop_data(tag="PT-8", length="300")), 400)
    assert set(refused["errors"]) == {"circuits.0.cables.0.length_m"}
    check_refusal(send(client_as("reader"), "/api/v1/loops/", loop_data(tag="PT-8")), 403)
    assert not Loop.objects.filter(tag="PT-8").exists()


@pytest.mark.parametrize(
    ("value", "status"),
    [(True, 201), (False, 201), ("no", 400), ("on", 400), ("", 400), (None, 400), ([], 400), (1, 400)],
)
def test_no_odd_text_is_a_yes(api: Any, loop_data: Any, value: Any, status: int) -> None:
    data = loop_data(tag="PT-9")
    data["circuits"][0]["fisco"] = value
    response = send(api, "/api/v1/loops/", data)
    assert response.status_code == status
    if status == 201:
        assert response.json()["record"]["circuits"][0]["fisco"] is (value is True)


def test_case_documents_as_they_were_judged(api: Any, loop: Loop, loop_data: Any) -> None:
    address = f"/api/v1/loops/{loop.pk}/case/"
    one = api.get(address)
    assert loop.verification is not None
    assert one.json() == loop.verification.inputs[0]
    assert one["X-Circuit-Count"] == "1" and "Link" not in one
    # the same document, judged again, gives the stored verdict and figures
    again = send(api, VERIFY, one.json()).json()
    stored = loop.verification.results[0]
    assert (again["verdict"], again["totals"]) == (stored["verdict"], stored["totals"])
    check_refusal(api.get(f"{address}?circuit=2"), 404)
    for number in ("0", "x", "-1", "9" * 50):
        check_refusal(api.get(f"{address}?circuit={number}"), 400)
    data = loop_data(tag="PT-2")
    data["circuits"].append(copy.deepcopy(data["circuits"][0]) | {"name": "Circuit 2"})
    two = send(api, "/api/v1/loops/", data).json()["id"]
    first = api.get(f"/api/v1/loops/{two}/case/")
    assert first["X-Circuit-Count"] == "2" and first["Link"].endswith('?circuit=2>; rel="next"')
    second = api.get(f"/api/v1/loops/{two}/case/?circuit=2")
    assert second.json()["case"] == "PT-2 / Circuit 2" and 'rel="prev"' in second["Link"]


def test_the_api_describes_itself_without_warnings(
    client_as: Callable[[str], Any], capfd: pytest.CaptureFixture[str]
) -> None:
    response = client_as("reader").get("/api/v1/schema/?format=json")
    assert response.status_code == 200
    assert "Warning" not in capfd.readouterr().err
    paths = response.json()["paths"]
    assert {VERIFY, "/api/v1/loops/", "/api/v1/loops/{id}/", "/api/v1/loops/{id}/case/"} <= set(paths)


PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
PLACES = st.sampled_from(
    [(name,) for name in CASE]
    + [("sources", 0, name) for name in CASE["sources"][0]]
    + [("devices", 0, name) for name in CASE["devices"][0]]
    + [("cables", 1, name) for name in CASE["cables"][0]]
    + [("area", name) for name in CASE["area"]]
)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=PLACES, value=PLAIN)
def test_whatever_stands_in_a_case_is_judged_or_refused(api: Any, place: tuple[Any, ...], value: Any) -> None:
    case = copy.deepcopy(CASE)
    node: Any = case
    for step in place[:-1]:
        node = node[step]
    node[place[-1]] = value
    response = send(api, VERIFY, case)
    assert response.status_code in {200, 400}
    if response.status_code == 400:
        check_refusal(response, 400)


LOOP_PLACES = st.sampled_from(
    [
        ("site",), ("tag",), ("service",), ("load_ohm",), ("circuits",), ("circuits", 0), ("circuits", 0, "members"),
        ("circuits", 0, "name"), ("circuits", 0, "id"), ("circuits", 0, "members", 0),
        ("circuits", 0, "members", 0, "tag"),
        ("circuits", 0, "members", 0, "terminals"), ("circuits", 0, "members", 1, "area"),
        ("circuits", 0, "members", 1, "made_on"), ("circuits", 0, "members", 1, "role"),
        ("circuits", 0, "cables", 0, "length_m"), ("circuits", 0, "cables", 0, "cable_type"),
        ("reason",), ("id",), ("x",),
    ]
)  # fmt: skip


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=LOOP_PLACES, value=PLAIN)
def test_whatever_stands_in_a_loop_is_saved_whole_or_refused(
    api: Any, loop_data: Any, place: tuple[Any, ...], value: Any
) -> None:
    data = loop_data(tag="PT-9")
    node: Any = data
    for step in place[:-1]:
        node = node[step]
    node[place[-1]] = value
    before = Loop.objects.count(), Revision.objects.count()
    response = send(api, "/api/v1/loops/", data)
    assert response.status_code in {201, 400, 403}
    if response.status_code != 201:
        check_refusal(response, response.status_code)
        assert (Loop.objects.count(), Revision.objects.count()) == before
