"""Imports go one way, and the engine needs nothing but Python."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

BLOCKED = ("django", "rest_framework", "pint", "numpy", "matplotlib", "weasyprint", "psycopg")
IMPORT_THE_ENGINE = f"""
import importlib, pkgutil, sys

class Blocker:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {BLOCKED!r}:
            raise ImportError(name + " is blocked")

sys.meta_path.insert(0, Blocker())
import loops.engine
names = [module.name for module in pkgutil.walk_packages(loops.engine.__path__, "loops.engine.")]
for name in names:
    importlib.import_module(name)
assert len(names) > 5, names
foreign = sorted(name for name in sys.modules if name.partition(".")[0] in ("registry", "reports", "deploy"))
assert not foreign, foreign
print(len(names))
"""


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, *command], cwd=ROOT, capture_output=True, text=True, timeout=120)


def test_the_contracts_of_import_linter_hold() -> None:
    done = run("-c", "from importlinter.cli import lint_imports_command; lint_imports_command()", "--no-cache")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout


def test_the_engine_imports_without_django_or_any_other_package() -> None:
    done = run("-c", IMPORT_THE_ENGINE)
    assert done.returncode == 0, done.stderr


def test_the_blocker_of_that_test_blocks() -> None:
    done = run("-c", IMPORT_THE_ENGINE.replace("import loops.engine\n", "import django\nimport loops.engine\n"))
    assert done.returncode != 0
    assert "django is blocked" in done.stderr
