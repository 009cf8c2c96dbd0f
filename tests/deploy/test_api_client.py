"""A client made from the description by a general-purpose generator works: it reads, adds, changes and asks for a
verdict, over the application itself."""

from __future__ import annotations

import importlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from deploy.wsgi import application
from loops.models import Loop
from registry.models import Equipment
from tests.registry.api.asking import token_client

pytestmark = pytest.mark.usefixtures("one_connection")
NAME = "unlit_client_of_the_test"
CONFIG = "post_hooks: []\n"


@pytest.fixture
def package(client_as: Any, tmp_path: Path) -> Iterator[Any]:
    """The generated package, as it can be imported."""
    description = tmp_path / "openapi.json"
    description.write_bytes(client_as("reader").get("/api/v1/schema/?format=json").content)
    config = tmp_path / "config.yaml"
    config.write_text(CONFIG)
    target = tmp_path / "made" / NAME
    target.parent.mkdir()
    paths = ["--path", str(description), "--output-path", str(target), "--config", str(config)]
    made = subprocess.run(
        [sys.executable, "-m", "openapi_python_client", "generate", "--meta", "none", *paths],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert made.returncode == 0, made.stdout + made.stderr
    sys.path.insert(0, str(target.parent))
    try:
        yield importlib.import_module(NAME)
    finally:
        sys.path.remove(str(target.parent))
        for name in [name for name in sys.modules if name.split(".")[0] == NAME]:
            del sys.modules[name]


def module(name: str) -> Any:
    return importlib.import_module(f"{NAME}.{name}")


@pytest.mark.django_db
def test_a_generated_client_works(package: Any, people: Any, source_data: Any, loop: Loop) -> None:
    token = token_client(people["designer"]).defaults["HTTP_AUTHORIZATION"].removeprefix("Bearer ")
    client = package.AuthenticatedClient(base_url="http://testserver", token=token, raise_on_unexpected_status=True)
    transport = httpx.WSGITransport(app=application)
    client.set_httpx_client(
        httpx.Client(transport=transport, base_url="http://testserver", headers={"Authorization": f"Bearer {token}"})
    )
    api, models = "api.equipment", module("models")

    page = module(f"{api}.list_equipment").sync(client=client, limit=1)
    assert [item.record.maker for item in page.results] == ["Northlight Barriers"] and page.next_ is not None
    second = module(f"{api}.list_equipment").sync(client=client, limit=1, cursor=page.next_)
    assert [item.record.type_name for item in second.results] == ["SP-100"] and second.next_ is None

    text = source_data | {"type_name": "NB-30"}
    text["terminals"][0]["certificate"] = "EXA 21 ATEX 0101 issue 0"
    made = module(f"{api}.add_equipment").sync_detailed(
        client=client, body=models.EquipmentSent.from_dict(text), idempotency_key="a-1"
    )
    again = module(f"{api}.add_equipment").sync_detailed(
        client=client, body=models.EquipmentSent.from_dict(text), idempotency_key="a-1"
    )
    assert made.status_code == again.status_code == 201 and made.parsed.id == again.parsed.id
    item = Equipment.objects.get(type_name="NB-30")
    assert made.parsed.id == item.pk and made.parsed.record.terminals[0].uo_v == "28 V"

    record = made.parsed.record.to_dict()
    record["terminals"][0]["uo_v"] = "27 V"
    body = models.EquipmentSent.from_dict(record | {"reason": "Issue 2"})
    change = module(f"{api}.change_equipment")
    changed = change.sync(id=item.pk, client=client, body=body, if_match=made.headers["ETag"])
    assert changed.version == 2 and changed.record.terminals[0].uo_v == "27 V"
    stale = change.sync(id=item.pk, client=client, body=body, if_match=made.headers["ETag"])
    assert isinstance(stale, models.Problem) and stale.code == "stale" and stale.conflict.version == 2

    verdict = module("api.verification.read_verification").sync(id=loop.verification_id, client=client)
    assert verdict.verdict == "complies" and verdict.results[0].checks
    case = models.Case.from_dict(verdict.inputs[0].to_dict())
    judged = module("api.verification.verify_case").sync(client=client, body=case)
    assert judged.verdict == "complies" and judged.totals.to_dict() == verdict.results[0].totals.to_dict()
