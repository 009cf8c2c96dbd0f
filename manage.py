#!/usr/bin/env python
"""Command line of an Unlit site."""

import os
import sys

from deploy.env import EnvironmentProblem


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    from django.core.management import execute_from_command_line
    from django.db import OperationalError, connection

    try:
        execute_from_command_line(sys.argv)
    except EnvironmentProblem as problem:
        print(problem, file=sys.stderr)
        sys.exit(2)
    except OperationalError as error:
        # What fails in the middle of work is traced; what never reached the database needs no trace.
        if connection.connection is not None or "--traceback" in sys.argv:
            raise
        print(f"The database does not answer: {error}", file=sys.stderr)
        print("See that it runs, and what DATABASE_URL names (deploy/env.py).", file=sys.stderr)
        sys.exit(1)


if __name__ == "__main__":
    main()
