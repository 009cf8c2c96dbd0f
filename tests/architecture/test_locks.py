"""The lock files agree with each other and with what the project asks for."""

import re
import tomllib

from packaging.requirements import Requirement

from tests.architecture.files import ROOT

PIN = re.compile(
    r"^([a-z0-9][a-z0-9.-]*)(?:\[[a-z0-9, -]+\])?==(\S+)"
    r"((?: ;[^\\]*)?) \\\n((?:    --hash=sha256:[0-9a-f]{64}(?: \\)?\n)+)",
    re.MULTILINE,
)


def pins(name: str) -> dict[str, tuple[str, ...]]:
    """Version, marker and hashes of each package of a lock file."""
    return {found[0]: found[1:] for found in PIN.findall((ROOT / "deploy" / name).read_text())}


def test_extras_are_pinned_with_their_package() -> None:
    """Without them an older pip takes the newest release of `package[extra]`, and stops because that is not pinned."""
    text = (ROOT / "deploy" / "requirements-test.txt").read_text()
    assert re.search(r"^coverage\[toml\]==", text, re.MULTILINE)
    assert re.search(r"^psycopg\[binary, pool\]==", text, re.MULTILINE)


def test_both_lock_files_hold_the_same_versions() -> None:
    site, tests = pins("requirements.txt"), pins("requirements-test.txt")
    assert {"django", "gunicorn", "weasyprint", "pint"} <= set(site)
    assert {"pytest", "ruff", "mypy"} <= set(tests) - set(site)
    assert {name: tests[name][0] for name in site} == {name: site[name][0] for name in site}


def test_the_lock_files_hold_what_the_project_asks_for() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    for asked, locked in (
        (project["dependencies"], pins("requirements.txt")),
        (project["optional-dependencies"]["test"], pins("requirements-test.txt")),
    ):
        for text in asked:
            requirement = Requirement(text)
            assert requirement.specifier.contains(locked[requirement.name][0]), text
