"""How gunicorn serves a site: `python -m gunicorn --config deploy/gunicorn.conf.py deploy.wsgi`.

``BIND`` (default ``127.0.0.1:8000``) and ``WEB_CONCURRENCY`` (processes, default 2) come from the environment.
"""

import os
import tempfile
from pathlib import Path

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
