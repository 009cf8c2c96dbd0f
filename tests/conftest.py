"""What all tests share: people, a small register and loops, made through the services as the pages make them.

Values of the records are those of a common 28 V, 93 mA barrier and a two-wire transmitter (common practice, no source);
makers, site and certificates are invented.
"""

from __future__ import annotations

import copy
import os
from collections.abc import Callable, Iterator
from typing import Any
from unittest import mock

import pytest
from django.db import connections

PASSWORD = "Slow-copper-91-lantern"
# Paper made from records: the same whatever database they came from, and slow.
SAME_ON_EVERY_DATABASE = ("tests/reports/test_sheet.py",)
DATABASE_FIXTURES = {"db", "transactional_db", "django_db_reset_sequences", "live_server"}


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--database-only", action="store_true", help="only tests that use the database (for a second database)"
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--database-only"):
        return
    chosen = [item for item in items if uses_database(item) and not item.nodeid.startswith(SAME_ON_EVERY_DATABASE)]
    config.hook.pytest_deselected(items=[item for item in items if item not in chosen])
    items[:] = chosen


def uses_database(item: pytest.Item) -> bool:
    """Whether a test asks for the database by mark, by fixture or as one of Django's test cases."""
    from django.test import TransactionTestCase

    case = getattr(item, "cls", None)
    return (
        item.get_closest_marker("django_db") is not None
        or bool(DATABASE_FIXTURES & set(getattr(item, "fixturenames", ())))
        or (isinstance(case, type) and issubclass(case, TransactionTestCase))
    )


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """What deploy/test.sh knows beside the tests, told before pytest's last line."""
    for variable, title in (("SKIPPED_STEPS", "Skipped"), ("FAILED_STEPS", "Failed before these tests")):
        if text := os.environ.get(variable, "").strip():
            terminalreporter.write_line(f"{title}:{chr(10) if chr(10) in text else ' '}{text}")


@pytest.fixture(scope="session")
def django_db_modify_db_settings_xdist_suffix(request: pytest.FixtureRequest) -> None:
    """A database of its own for each process of a run; on SQLite it is in the memory of the process anyway.

    pytest-django knows SQLite by the name of Django's own engine and would give ours a file.
    """
    worker = getattr(request.config, "workerinput", {}).get("workerid")
    for one in connections.all():
        if worker and one.vendor != "sqlite":
            name = one.settings_dict["TEST"]["NAME"] or f"test_{one.settings_dict['NAME']}"
            one.settings_dict["TEST"]["NAME"] = f"{name}_{worker}"


@pytest.fixture(autouse=True, scope="session")
def thawed_flush() -> Iterator[None]:
    """Let a transactional test clear its tables on SQLite, where the triggers of frozen tables refuse DELETE.

    All triggers are taken away around the flush and put back as they were, in the same transaction. PostgreSQL clears
    tables with TRUNCATE, which fires no row trigger.
    """
    from django.db import connection, transaction

    if connection.vendor != "sqlite":
        yield
        return
    operations = type(connection.ops)
    plain_flush = operations.execute_sql_flush

    def flush(self: Any, statements: list[str]) -> None:
        with transaction.atomic(using=self.connection.alias), self.connection.cursor() as cursor:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            triggers = cursor.fetchall()
            for name, _ in triggers:
                cursor.execute(f'DROP TRIGGER "{name}"')
            plain_flush(self, statements)
            for _, definition in triggers:
                cursor.execute(definition)

    operations.execute_sql_flush = flush
    yield
    operations.execute_sql_flush = plain_flush


@pytest.fixture(autouse=True, scope="session")
def mail_at_once() -> Iterator[None]:
    """Mail goes out as soon as a transaction is committed, so that no thread of one test reaches into another."""
    with mock.patch("registry.services.notices.in_background", lambda act, what="": act()):
        yield


# ------------------------------------------------------------------------------------------------------------- people


class People(dict[str, Any]):
    """The people of the tests by what they are: a role's value, "superuser", "neighbour" or "outsider"."""


def make_user(name: str, **values: Any) -> Any:
    from registry.models import User

    return User.objects.create_user(name, f"{name}@unlit.example", PASSWORD, full_name=f"The {name}", **values)


@pytest.fixture
def password() -> str:
    """The password of all people of the tests."""
    return PASSWORD


@pytest.fixture
def superuser(db: None) -> Any:
    return make_user("superuser", is_superuser=True, is_staff=True)


@pytest.fixture
def author_as(people: People) -> Callable[..., Any]:
    """`author_as("designer", reason="…")`: an Author who comes by the page."""
    from registry.services.records import Author

    return lambda role, **values: Author(people[role], **{"reason": "As tested"} | values)


@pytest.fixture
def people(site: Any, other_site: Any, superuser: Any) -> People:
    """One person for each role at `site`; a designer of the other site ("neighbour"); one with no site ("outsider")."""
    from registry.models import Membership, Role

    found = People(superuser=superuser)
    for role in Role:
        found[role.value] = make_user(role.value)
        Membership.objects.create(user=found[role.value], site=site, role=role)
    found["neighbour"] = make_user("neighbour")
    Membership.objects.create(user=found["neighbour"], site=other_site, role=Role.DESIGNER)
    found["outsider"] = make_user("outsider")
    return found


@pytest.fixture
def client_as(people: People) -> Callable[[str], Any]:
    """`client_as("designer")`: a client in which that person is logged in; `client_as("")` has nobody."""
    from django.test import Client

    def login(role: str) -> Any:
        client = Client()
        if role:
            client.force_login(people[role])
        return client

    return login


# ----------------------------------------------------------------------------------------------------------- register


@pytest.fixture
def save(people: People) -> Callable[..., Any]:
    """`save(kind, data, by="keeper", reason=…)`: save nested text as a record of the register."""
    from registry.services.records import Author, save_text

    def save_as(kind: str, data: dict[str, Any], by: str = "keeper", reason: str = "As tested", **options: Any) -> Any:
        return save_text(kind, data, Author(people[by], reason=reason), **options)

    return save_as


def make_site(superuser: Any, code: str, name: str, **values: str) -> Any:
    from registry.services.records import Author, save_text

    data = {
        "code": code,
        "name": name,
        "basis": "IEC",
        "time_zone": "UTC",
        "schemes": "ATEX, IECEx",
        "safe_ambient_max_degc": "40 degC",
        "safe_voltage_max_v": "250 V",
    }
    return save_text("site", data | values, Author(superuser))


@pytest.fixture
def schemes(db: None) -> None:
    """The usual schemes, and an invented national one, "NQ". They come with the migrations; a transactional test clears
    them away."""
    from importlib import import_module

    from django.apps import apps

    from registry.models import Scheme

    if not Scheme.objects.exists():
        import_module("registry.migrations.0014_usual_schemes").make(apps, None)
    Scheme.objects.get_or_create(name="NQ")


@pytest.fixture
def site(schemes: None, superuser: Any) -> Any:
    """A site judged by the IEC standards."""
    return make_site(superuser, "NORTH", "North works")


@pytest.fixture
def other_site(schemes: None, superuser: Any) -> Any:
    """A second site, whose people have no business at the first."""
    return make_site(superuser, "SOUTH", "South works")


AREA = {
    "name": "Reactor bay",
    "zone": "1",
    "group": "IIC",
    "temperature_class": "T4",
    "ambient_min_degc": "-20 degC",
    "ambient_max_degc": "40 degC",
    "drawing": "HAC-001",
}


@pytest.fixture
def area(site: Any, save: Callable[..., Any]) -> Any:
    """Zone 1, IIC, T4, -20 to 40 degC at `site`."""
    return save("area", AREA | {"site": str(site.pk)}, by="designer")


@pytest.fixture
def certificate(save: Callable[..., Any]) -> Any:
    """The current certificate of `source`, without an end date or specific conditions."""
    data = {"scheme": "ATEX", "number": "EXA 21 ATEX 0101", "issue": "0", "holder": "Northlight Barriers"}
    return save("certificate", data | {"issued_on": "2021-03-01", "status": "current"})


@pytest.fixture
def device_certificate(save: Callable[..., Any]) -> Any:
    """The current certificate of `device`."""
    data = {"scheme": "ATEX", "number": "EXB 19 ATEX 0202", "issue": "1", "holder": "Sandpiper Instruments"}
    return save("certificate", data | {"issued_on": "2019-06-01", "status": "current"})


@pytest.fixture
def source_data(certificate: Any) -> dict[str, Any]:
    """The nested text of `source`, to be changed at will."""
    return copy.deepcopy(
        {
            "kind": "source",
            "maker": "Northlight Barriers",
            "type_name": "NB-28",
            "function": "Transmitter supply, 4–20 mA",
            "marking": "II (1) G [Ex ia Ga] IIC",
            "terminals": [
                {
                    "name": "1-2",
                    "side": "source",
                    "level": "ia",
                    "gas_group": "IIC",
                    "output": "linear",
                    "isolation": "isolated",
                    "certificate": str(certificate.pk),
                    "ambient_min_degc": "-20 degC",
                    "ambient_max_degc": "60 degC",
                    "uo_v": "28 V",
                    "io_a": "93 mA",
                    "po_w": "0.65 W",
                    "ro_ohm": "301 ohm",
                    "um_v": "250 V",
                    "supply_at_20ma_v": "17 V",
                    "permitted": [{"group": "IIC", "co_f": "83 nF", "lo_h": "4.2 mH", "lo_ro_h_per_ohm": "55 uH/ohm"}],
                }
            ],
        }
    )


@pytest.fixture
def source(source_data: dict[str, Any], save: Callable[..., Any]) -> Any:
    """An isolated linear source: 28 V, 93 mA, 0.65 W, ia IIC; permitted 83 nF, 4.2 mH, 55 uH/ohm."""
    return save("equipment", source_data)


@pytest.fixture
def device_data(device_certificate: Any) -> dict[str, Any]:
    """The nested text of `device`, to be changed at will."""
    return copy.deepcopy(
        {
            "kind": "field_device",
            "maker": "Sandpiper Instruments",
            "type_name": "SP-100",
            "function": "Pressure transmitter, 4–20 mA",
            "marking": "II 1 G Ex ia IIC T4 Ga",
            "terminals": [
                {
                    "name": "+/-",
                    "side": "device",
                    "level": "ia",
                    "gas_group": "IIC",
                    "isolation": "isolated",
                    "certificate": str(device_certificate.pk),
                    "ambient_min_degc": "-40 degC",
                    "ui_v": "30 V",
                    "ii_a": "100 mA",
                    "pi_w": "1 W",
                    "ci_f": "5 nF",
                    "li_h": "10 uH",
                    "needs_v": "11 V",
                    "needs_max_a": "22 mA",
                    "temperature_classes": [{"temperature_class": "T4", "ambient_max_degc": "70 degC"}],
                }
            ],
        }
    )


@pytest.fixture
def device(device_data: dict[str, Any], save: Callable[..., Any]) -> Any:
    """A two-wire transmitter: 30 V, 100 mA, 1 W, Ci 5 nF, Li 10 uH, ia IIC T4 up to 70 degC."""
    return save("equipment", device_data)


CABLE_TYPE = {
    "name": "Pair 1.5 mm2",
    "maker": "Larkfield Cables",
    "capacitance_f_per_m": "110 nF/km",
    "inductance_h_per_m": "0.65 mH/km",
    "inductance_is": "loop",
    "inductance_per_resistance_h_per_ohm": "25 uH/ohm",
    "resistance_ohm_per_m": "12.1 ohm/km",
    "resistance_is": "per_core",
    "strand_m": "0.3 mm",
    "insulation_m": "0.4 mm",
    "test_v": "500 V",
}


@pytest.fixture
def cable_type(save: Callable[..., Any]) -> Any:
    """A pair: 110 nF/km, 0.65 mH/km, 25 uH/ohm, 12.1 ohm/km a core."""
    return save("cable_type", dict(CABLE_TYPE))


# -------------------------------------------------------------------------------------------------------------- loops


@pytest.fixture
def loop_data(site: Any, area: Any, source: Any, device: Any, cable_type: Any) -> Callable[..., dict[str, Any]]:
    """`loop_data(tag="PT-7", length="900 m")`: nested text of a loop of `source`, 300 m of cable and `device`.

    `tag` and `length` go where they belong; every other name replaces a value of the loop itself.
    """

    def build(tag: str = "PT-1101", length: str = "300 m", **changes: Any) -> dict[str, Any]:
        data: dict[str, Any] = {
            "site": str(site.pk),
            "tag": tag,
            "service": "Reactor pressure",
            "drawing": "LD-1101",
            "load_ohm": "250 ohm",
            "circuits": [
                {
                    "name": "Circuit 1",
                    "interconnection": "undefined",
                    "members": [
                        {"role": "source", "tag": f"{tag}-B", "terminals": str(source.terminals.get().pk)},
                        {
                            "role": "device",
                            "tag": tag,
                            "terminals": str(device.terminals.get().pk),
                            "area": str(area.pk),
                            "made_on": "2022-05-01",
                        },
                    ],
                    "cables": [
                        {
                            "tag": f"W-{tag}",
                            "from_point": "Cabinet 1",
                            "to_point": tag,
                            "cable_type": str(cable_type.pk),
                            "length_m": length,
                            "separation": "single_circuit",
                            "role": "trunk",
                        }
                    ],
                }
            ],
        }
        return data | changes

    return build


@pytest.fixture
def make_loop(people: People, loop_data: Callable[..., dict[str, Any]]) -> Callable[..., Any]:
    """`make_loop(tag="PT-7", length="900 m")`: the loop of `loop_data`, saved by the designer."""
    from loops.services.loops import save_loop
    from registry.services.records import Author

    return lambda **changes: save_loop(loop_data(**changes), Author(people["designer"]))


@pytest.fixture
def loop(make_loop: Callable[..., Any]) -> Any:
    """A loop that complies: 38 nF of 83 nF, 0.205 mH of 4.2 mH."""
    return make_loop()


@pytest.fixture
def failing_loop(make_loop: Callable[..., Any]) -> Any:
    """A loop that does not comply: 1000 m of cable make 115 nF of 83 nF."""
    return make_loop(tag="PT-1102", length="1000 m")
