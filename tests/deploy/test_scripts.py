"""The scripts that bring an instance up, run as a newcomer runs them: in a folder with spaces, from somewhere else."""

from __future__ import annotations

import hashlib
import http.client
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PARTS = ("deploy", "loops", "registry", "reports", "templates", "manage.py", "pyproject.toml")
BASE_PYTHON = str(Path(sys.base_prefix) / "bin" / "python3")


def copy_tree(target: Path, parts: tuple[str, ...] = PARTS) -> Path:
    for part in parts:
        if (ROOT / part).is_dir():
            shutil.copytree(ROOT / part, target / part, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / part, target / part)
    return target


def run(
    tree: Path, *arguments: str, environ: Mapping[str, str] | None = None, timeout: float = 120
) -> subprocess.CompletedProcess[str]:
    """Run the demo script of a tree from another folder, in a plain environment."""
    plain = {name: value for name, value in os.environ.items() if name in ("PATH", "HOME", "LANG", "TMPDIR")}
    return subprocess.run(
        ["sh", str(tree / "deploy" / "demo.sh"), *arguments],
        cwd="/",
        env=plain | {"PYTHON": BASE_PYTHON} | dict(environ or {}),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=timeout,
    )


def program(folder: Path, name: str, text: str) -> str:
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(0o755)
    return str(path)


def one_sentence(done: subprocess.CompletedProcess[str]) -> str:
    """The one line on standard error of a script that ended with a code other than 0."""
    assert done.returncode != 0, done.stdout
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    return lines[0]


@pytest.fixture
def scripts(tmp_path: Path) -> Path:
    """A tree with the scripts alone."""
    return copy_tree(tmp_path / "a folder with spaces", ("deploy",))


@pytest.fixture
def taken_port() -> Iterator[int]:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        yield listener.getsockname()[1]


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


def as_nobody_special(tmp_path: Path) -> str:
    """A PATH in which `id -u` says that one is not root."""
    program(tmp_path / "bin", "id", 'case "$1" in -u) echo 1000 ;; *) echo somebody ;; esac')
    return f"{tmp_path / 'bin'}:{os.environ['PATH']}"


# ------------------------------------------------------------------------------------------------------ what goes wrong


def test_a_taken_port_is_told_with_another_one(scripts: Path, taken_port: int) -> None:
    sentence = one_sentence(run(scripts, environ={"PORT": str(taken_port)}))
    assert f"Port {taken_port} of 127.0.0.1 is taken" in sentence
    assert re.search(r"PORT=\d+ sh deploy/demo\.sh", sentence)
    assert not (scripts / ".venv").exists()


@pytest.mark.parametrize("port", ["http", "0", "65536", "123456", "-1", "80 80"])
def test_a_port_that_is_none_is_refused(scripts: Path, port: str) -> None:
    assert "give a number from 1 to 65535" in one_sentence(run(scripts, environ={"PORT": port}))


@pytest.mark.parametrize("arguments", [("--help",), ("--stop", "now"), ("",)])
def test_another_option_gets_the_usage(scripts: Path, arguments: tuple[str, ...]) -> None:
    assert one_sentence(run(scripts, *arguments)) == "Usage: sh deploy/demo.sh [--background | --stop]"


def test_an_old_python_is_told(scripts: Path, tmp_path: Path) -> None:
    old = program(tmp_path / "old", "python3", "exit 1")
    sentence = one_sentence(run(scripts, environ={"PYTHON": old, "PORT": str(free_port())}))
    assert "Unlit needs Python 3.11, 3.12 or 3.13" in sentence
    assert old in sentence


@pytest.mark.parametrize(
    "missing, cure",
    [
        ("libpango", "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"),
        ("ensurepip", "apt-get install python3-venv"),
    ],
)
def test_a_missing_part_of_the_system_is_told_with_the_line_that_brings_it(
    scripts: Path, tmp_path: Path, missing: str, cure: str
) -> None:
    without = program(
        tmp_path / "without", "python3", f'case "$*" in *{missing}*) exit 1 ;; esac\nexec {BASE_PYTHON} "$@"'
    )
    environ = {"PYTHON": without, "PATH": as_nobody_special(tmp_path), "PORT": str(free_port())}
    sentence = one_sentence(run(scripts, environ=environ))
    assert cure in sentence
    assert "as root" in sentence


def test_apt_that_fails_is_told_too(scripts: Path, tmp_path: Path) -> None:
    without = program(
        tmp_path / "without", "python3", f'case "$*" in *libpango*) exit 1 ;; esac\nexec {BASE_PYTHON} "$@"'
    )
    program(tmp_path / "bin", "id", "echo 0")
    program(tmp_path / "bin", "apt-get", 'echo "called: $*"; exit 100')
    path = f"{tmp_path / 'bin'}:{os.environ['PATH']}"
    done = run(scripts, environ={"PYTHON": without, "PATH": path, "PORT": str(free_port())})
    assert "apt-get install libpango-1.0-0" in one_sentence(done)
    asked = (scripts / ".local" / "apt.log").read_text()
    assert asked.count("called: install -y") == 1
    assert "called: update" in asked


def test_a_broken_download_is_told(scripts: Path) -> None:
    environ = {
        "PIP_CONFIG_FILE": "/dev/null",
        "PIP_INDEX_URL": f"http://127.0.0.1:{free_port()}/simple",
        "PIP_RETRIES": "0",
        "PORT": str(free_port()),
    }
    sentence = one_sentence(run(scripts, environ=environ))
    assert "could not be downloaded" in sentence
    assert (scripts / ".local" / "pip.log").exists()

    # A package that is not the locked one is not installed, and the next run tries again.
    wheels = scripts / "wheels"
    wheels.mkdir()
    with zipfile.ZipFile(wheels / "spare_part-1.0-py3-none-any.whl", "w") as wheel:
        wheel.writestr("spare_part.py", "")
        wheel.writestr("spare_part-1.0.dist-info/METADATA", "Metadata-Version: 2.1\nName: spare-part\nVersion: 1.0\n")
        wheel.writestr(
            "spare_part-1.0.dist-info/WHEEL", "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
        )
        wheel.writestr("spare_part-1.0.dist-info/RECORD", "")
    lock = scripts / "deploy" / "requirements.txt"
    lock.write_text(f"spare-part==1.0 --hash=sha256:{hashlib.sha256(b'another').hexdigest()}\n")
    environ = {"PIP_CONFIG_FILE": "/dev/null", "PIP_NO_INDEX": "1", "PIP_FIND_LINKS": wheels.as_uri(), "PORT": "0"}
    environ["PORT"] = str(free_port())
    assert "does not match its hash" in one_sentence(run(scripts, environ=environ))
    assert not list((scripts / ".venv").glob(".installed-*"))


# ----------------------------------------------------------------------------------------------------- what goes right


def status(port: int, path: str) -> tuple[int, str]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    try:
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer.status, answer.getheader("Location", "")
    finally:
        connection.close()


def lives(process: int) -> bool:
    """Whether a process is there, after some patience with one that was told to end."""
    for _ in range(50):
        state = Path(f"/proc/{process}/status")
        if not state.exists() or "State:\tZ" in state.read_text():
            return False
        time.sleep(0.1)
    return True


def test_the_demo_comes_up_goes_on_and_stops(tmp_path: Path) -> None:
    tree = copy_tree(tmp_path / "a folder with spaces")
    (tree / ".venv").symlink_to(sys.prefix)
    port = free_port()
    environ = {"PORT": str(port), "UNLIT_MODE": "production", "DATABASE_URL": "postgresql://nobody@127.0.0.1:1/nothing"}
    try:
        first = run(tree, "--background", environ=environ, timeout=300)
        assert first.returncode == 0, first.stdout + first.stderr
        assert f"http://127.0.0.1:{port}" in first.stdout
        assert status(port, "/") == (302, "/login/?next=/")
        assert status(port, "/login/")[0] == 200
        database = tree / ".local" / "unlit.sqlite3"
        assert database.stat().st_size > 100_000
        worker = int((tree / ".local" / "worker.pid").read_text())
        assert "db_worker" in Path(f"/proc/{worker}/cmdline").read_text()

        again = run(tree, "--background", environ=environ)
        assert again.returncode == 0
        assert "running already" in again.stdout
        assert status(port, "/login/")[0] == 200
    finally:
        stopped = run(tree, "--stop")
    assert "has stopped" in stopped.stdout
    with pytest.raises(OSError, match="refused"):
        status(port, "/login/")
    assert not lives(worker)
    assert "not running" in run(tree, "--stop").stdout

    try:
        second = run(tree, "--background", environ=environ, timeout=300)
        assert second.returncode == 0, second.stdout + second.stderr
        assert status(port, "/login/")[0] == 200
    finally:
        run(tree, "--stop")


@pytest.mark.parametrize(
    "command",
    [
        ["manage.py", "check"],
        ["-c", "import deploy.wsgi"],
        ["-m", "gunicorn", "--config", "deploy/gunicorn.conf.py", "deploy.wsgi"],
    ],
    ids=["manage.py", "wsgi", "gunicorn"],
)
def test_a_fault_of_the_environment_ends_with_its_sentence_and_code_2(command: list[str]) -> None:
    environ = os.environ | {"LOG_LEVEL": "LOUD", "BIND": f"127.0.0.1:{free_port()}"}
    done = subprocess.run([sys.executable, *command], cwd=ROOT, env=environ, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2, done.stderr
    assert done.stderr.startswith("The environment has one fault:")
    assert "LOG_LEVEL" in done.stderr
    assert "Traceback" not in done.stderr
