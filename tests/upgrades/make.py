"""How the data of a release is kept for the tests of later ones; run in a tree of that release, once:

    .venv/bin/python -m tests.upgrades.make tests/upgrades/first_release.zip

It is the demo plant in a database of its own, with the first issued sheet as it is rendered. The paper of all others
is a line of text, so that the file stays small; digests and signatures are those of what is stored.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any
from unittest import mock

ROOT = Path(__file__).resolve().parents[2]


def main() -> None:
    target = Path(sys.argv[1]).absolute()
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {
            "DATABASE_URL": f"sqlite:///{folder}/unlit.sqlite3",
            "MEDIA_DIR": f"{folder}/media",
            "UNLIT_MODE": "local",
            "TASKS": "immediate",
            "DJANGO_SETTINGS_MODULE": "deploy.settings",
        }
        os.environ.pop("FILE_STORE_URL", None)
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, check=True)
        import django

        django.setup()
        from django.core.management import call_command

        from reports import services

        render, count = services.sheet_pdf, 0

        def first_alone(content: Any, paper: Any) -> bytes:
            nonlocal count
            count += 1
            return render(content, paper) if count == 1 else f"%PDF-1.7\n% Paper {content.number}\n".encode()

        with mock.patch.object(services, "sheet_pdf", first_alone):
            call_command("demo", size="small")
        call_command("verify_store")
        target.unlink(missing_ok=True)
        call_command("backup", str(target))


if __name__ == "__main__":
    main()
