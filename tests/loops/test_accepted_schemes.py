"""A scheme that the site does not accept does not pass, whatever else the certificate says."""

from collections.abc import Callable
from typing import Any

import pytest


@pytest.mark.django_db
def test_a_loop_with_a_scheme_that_the_site_does_not_accept_does_not_comply(
    loop: Any, device: Any, device_data: Any, save: Callable[..., Any], make_loop: Callable[..., Any]
) -> None:
    """The same loop complies with the certificate under ATEX; the site accepts ATEX and IECEx."""
    assert loop.verification.verdict == "complies"
    foreign = save("certificate", {"scheme": "NQ", "number": "NQ 4417-A", "issue": "0", "issued_on": "2020-01-01"})
    device_data["terminals"][0] |= {"certificate": str(foreign.pk), "id": device.terminals.get().pk}
    save("equipment", device_data, record_id=device.pk)
    judged = make_loop(tag="PT-77")
    assert judged.verification.verdict == "does_not_comply"
    told = str(judged.verification.results)
    assert "is certified under NQ; the site accepts ATEX, IECEx" in told
