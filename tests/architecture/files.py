"""The tracked files of the repository."""

import subprocess
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("registry", "loops", "reports", "deploy")


@cache
def tracked() -> tuple[Path, ...]:
    """Paths of all tracked files that are there, relative to the root; skips the test outside of a git clone."""
    if not (ROOT / ".git").exists():
        pytest.skip("not a git clone: nothing says which files belong to the repository")
    listed = subprocess.run(
        ["git", "-c", f"safe.directory={ROOT}", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True
    )
    names = [Path(name) for name in listed.stdout.decode().split("\0") if name]
    return tuple(name for name in names if (ROOT / name).is_file())


def text_of(path: Path) -> str:
    """The text of a tracked file; empty where it is no text."""
    content = (ROOT / path).read_bytes()
    return "" if b"\0" in content else content.decode(errors="replace")
