"""What axe-core finds on a page, by the success criteria of WCAG 2.2, levels A and AA."""

from __future__ import annotations

import json
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
LOOKS = ["color-contrast", "link-in-text-block"]
"""The rules that a colour scheme can break; all others see the same page in both."""


def violations(page: Any, *, looks_only: bool = False) -> list[str]:
    """The faults that axe finds, each with its first places.

    The ruled ground of the desk is taken away first: on a ground that is a picture axe cannot tell the contrast.
    """
    page.evaluate("() => { document.body.style.backgroundImage = 'none'; }")
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    run = {"type": "rule", "values": LOOKS} if looks_only else {"type": "tag", "values": TAGS}
    options = {"runOnly": run, "resultTypes": ["violations"]}
    found = page.evaluate(f"() => axe.run(document, {json.dumps(options)}).then((answer) => answer.violations)")
    return [
        f"{fault['id']} at {'; '.join(' '.join(map(str, node['target'])) for node in fault['nodes'][:3])}: "
        f"{' '.join(fault['nodes'][0]['failureSummary'].split())}"
        for fault in found
    ]
