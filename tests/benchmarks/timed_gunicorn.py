"""deploy/gunicorn.conf.py, and for each request a line in the file that TIMES_FILE names: the microseconds that it
took a worker, from its first byte to the last of the answer.
"""

import os
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
exec(compile((ROOT / "deploy" / "gunicorn.conf.py").read_text(), "gunicorn.conf.py", "exec"))
chdir = str(ROOT)


def pre_request(worker: Any, request: Any) -> None:
    request.began = time.perf_counter()


def post_request(worker: Any, request: Any, environ: Any, answer: Any) -> None:
    with open(os.environ["TIMES_FILE"], "a") as file:
        file.write(f"{(time.perf_counter() - request.began) * 1_000_000:.0f}\n")
