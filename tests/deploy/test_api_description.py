"""The API against its own description: every operation is sent what the description allows and what it forbids, over
the application itself. No failure within, no answer that the description does not know, nothing taken that it forbids.

What is sent is drawn anew from a seed. More of it, or another draw: API_EXAMPLES=200 API_SEED=7. Whether a
text that the description allows (any text, say, where a quantity belongs) is taken is decided by the entries, so that
such a refusal is no fault; tests beside the entries hold what they take.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.core.management import call_command
from django.db import connection, transaction
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import load_all_checks
from schemathesis.core.failures import FailureGroup
from schemathesis.core.parameters import ParameterLocation
from schemathesis.specs.openapi.checks import positive_data_acceptance

from deploy.wsgi import application
from tests.access import world as worlds
from tests.access.conftest import quick_paper as quick_paper
from tests.conftest import make_user
from tests.registry.api.asking import token_client

pytestmark = pytest.mark.usefixtures("one_connection")
SCHEMA = "/api/v1/schema/?format=json"
EXAMPLES = int(os.environ.get("API_EXAMPLES", "3"))
SEED = int(os.environ.get("API_SEED", "1"))
PARTS = 4
"""So that processes share the operations."""
MODES = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
RECORDS = {
    "equipment": "equipment",
    "certificates": "certificate",
    "schemes": "scheme",
    "cable-types": "cable_type",
    "sites": "site",
    "areas": "area",
    "loops": "draft",
    "verifications": "verification",
    "approvals": "signed",
    "sheets": "sheet",
    "attachments": "file",
    "impact": "answer",
    "suitability": "draft",
}
"""Which record of the world an address is asked for, by its first part."""


@pytest.mark.django_db
def test_the_description_is_whole(capfd: pytest.CaptureFixture[str]) -> None:
    """No warning, and valid by the meta-schema of OpenAPI 3.1."""
    call_command("spectacular", "--validate", "--fail-on-warn", "--format", "openapi-json", "--file", os.devnull)
    assert "Warning" not in capfd.readouterr().err


@pytest.fixture
def world(people: Any, other_site: Any, quick_paper: None, request: pytest.FixtureRequest) -> Any:
    from registry.models import Membership, Role

    site = request.getfixturevalue("site")
    people["second approver"] = make_user("second approver")
    Membership.objects.create(user=people["second approver"], site=site, role=Role.APPROVER)
    Membership.objects.create(user=people["designer"], site=site, role=Role.ADMINISTRATOR)
    return worlds.build(request.getfixturevalue)


@pytest.fixture
def described(world: Any, people: Any) -> tuple[Any, dict[str, str]]:
    """The description as the application gives it to a designer who also administers the site, and their token."""
    from registry.models import User

    header = dict(token_client(User.objects.get(pk=people["designer"].pk)).defaults)["HTTP_AUTHORIZATION"]
    headers = {"Authorization": header}
    load_all_checks()
    schema = schemathesis.openapi.from_wsgi(SCHEMA, application, headers=headers)
    checks = schema.config.checks
    checks.missing_required_header.expected_statuses = ["428"]
    # A version that is none, and a body that is too large, are refusals too.
    checks.negative_data_rejection.expected_statuses = ["400", "401", "403", "404", "406", "409", "412", "413", "415"]
    checks.negative_data_rejection.expected_statuses += ["422", "428", "429"]
    return schema, headers


def operations(schema: Any) -> list[Any]:
    return [found.ok() for found in schema.get_all_operations()]


def path_of(operation: Any, world: Any) -> dict[str, Any]:
    """The parameters of an address that lead to a record of the world."""
    first = operation.path.removeprefix("/api/v1/").split("/")[0]
    keys = dict(world.keys.get(RECORDS.get(first, ""), {}))
    if "/studies/{" in operation.path:
        keys = dict(world.keys["study"])
    if "/substitutions/" in operation.path:
        keys = dict(world.keys["matrix"])
    known = {"id": keys.get("pk"), "number": 1} | keys
    names = [parameter.name for parameter in operation.path_parameters]
    return {name: known[name] for name in names if known.get(name) is not None}


def strategies(operation: Any, world: Any) -> Iterator[tuple[str, Any]]:
    """What is sent: to a record that there is, and anywhere; what is allowed, and what is not."""
    fixed = path_of(operation, world)
    for mode in MODES:
        if fixed:
            yield f"{mode.value}, to a record", operation.as_strategy(generation_mode=mode, path_parameters=fixed)
        yield mode.value, operation.as_strategy(generation_mode=mode)


def try_all(operation: Any, strategy: Any, headers: dict[str, str], to_record: bool) -> None:
    """Send what a strategy draws; raises the first failure."""

    @seed(SEED)
    @settings(
        max_examples=EXAMPLES if to_record else 1 + EXAMPLES // 2,
        deadline=None,
        database=None,
        derandomize=False,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=strategy)
    def send(case: Any) -> None:
        matching = dict(headers)
        # The version that stands goes with a body that is allowed or that alone is wrong: else it would mend the case.
        mended = case.meta.is_negative_at(ParameterLocation.HEADER)
        if to_record and operation.method.upper() == "PUT" and not mended and (read := version_of(case, headers)):
            matching["If-Match"] = read
        with transaction.atomic():
            case.call_and_validate(headers=matching, excluded_checks=[positive_data_acceptance])
            transaction.set_rollback(True)

    send()


def version_of(case: Any, headers: dict[str, str]) -> str:
    """The version that a record has now, so that a change gets through to its entry."""
    from django.test import Client

    return str(Client(headers=headers).get(case.formatted_path.removesuffix("archived/")).headers.get("ETag", ""))


@pytest.mark.django_db
@pytest.mark.parametrize("part", range(PARTS))
def test_every_operation(part: int, described: Any, world: Any) -> None:
    schema, headers = described
    every = operations(schema)
    assert len(every) > 80
    failures: list[str] = []
    for operation in every[part::PARTS]:
        for name, strategy in strategies(operation, world):
            try:
                try_all(operation, strategy, headers, "record" in name)
            except Unsatisfiable:
                continue
            except FailureGroup as group:
                told = "\n".join(str(one) for one in group.exceptions)
                notes = "\n".join(getattr(group, "__notes__", []))
                failures.append(f"{operation.method.upper()} {operation.path} ({name}):\n{told}\n{notes}")
    connection.queries_log.clear()
    assert not failures, "\n\n".join(failures)
