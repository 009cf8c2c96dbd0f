"""How gunicorn serves a site: `python -m gunicorn --config deploy/gunicorn.conf.py deploy.wsgi`.

``BIND`` (default ``127.0.0.1:8000``, or ``unix:/run/unlit/web.sock``) and ``WEB_CONCURRENCY`` (processes, default 2)
come from the environment.
"""

import gc
import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

chdir = str(Path(__file__).resolve().parents[1])
bind = os.environ.get("BIND") or "127.0.0.1:8000"
workers = int(os.environ.get("WEB_CONCURRENCY") or 2)
# Browsers open connections ahead of use: a worker that serves one connection at a time would wait on an idle one.
worker_class = "gthread"
threads = 4
# Loaded once, before the workers: a fault of the environment ends the whole server and is told once.
preload_app = True
timeout = 60
graceful_timeout = 30
# A worker proves that it lives by touching a file: never on a disk that may stall.
worker_tmp_dir = "/dev/shm" if os.access("/dev/shm", os.W_OK) else tempfile.gettempdir()  # noqa: S108 # nosec B108
control_socket_disable = True
# From a proxy on this machine, or by a socket that only it can open, the headers of the request are taken as they are.
forwarded_allow_ips = os.environ.get("FORWARDED_ALLOW_IPS") or "127.0.0.1,::1"

# Its own lines look like those of the site.
_form = os.environ.get("LOG_FORMAT") or ("json" if os.environ.get("UNLIT_MODE") == "production" else "text")
_level = os.environ.get("LOG_LEVEL", "").upper()
_level = _level if _level in ("DEBUG", "WARNING", "ERROR", "CRITICAL") else "INFO"
logconfig_dict = {
    "filters": {"request": {"()": "deploy.operations.logs.RequestMark"}},
    "formatters": {
        "json": {"()": "deploy.operations.logs.Json"},
        "text": {"()": "deploy.operations.logs.Lines"},
    },
    "handlers": {
        "lines": {
            "class": "logging.StreamHandler",
            "formatter": _form if _form in ("json", "text") else "text",
            "filters": ["request"],
        }
    },
    "root": {"handlers": [], "level": "INFO"},
    "loggers": {
        "gunicorn.error": {"handlers": ["lines"], "level": _level, "propagate": False},
        "gunicorn.access": {"handlers": [], "level": "INFO", "propagate": False},
    },
}

# The processes count together for /metrics, in files that this server keeps while it runs.
_counts = ""
if not os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
    _counts = os.environ["PROMETHEUS_MULTIPROC_DIR"] = tempfile.mkdtemp(prefix="unlit-metrics-", dir=worker_tmp_dir)


def pre_fork(server: Any, worker: Any) -> None:
    """What was loaded stays: no process need look at it when it searches for garbage, and copy its pages by that."""
    gc.freeze()


def child_exit(server: Any, worker: Any) -> None:
    """What a process counted stays counted when it is gone; what it was (its gauges) does not."""
    from prometheus_client import multiprocess

    multiprocess.mark_process_dead(worker.pid)


def on_exit(server: Any) -> None:
    if _counts:
        shutil.rmtree(_counts, ignore_errors=True)
