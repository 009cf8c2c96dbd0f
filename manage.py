#!/usr/bin/env python
"""Command line of an Unlit site."""

import os
import sys

from deploy.env import EnvironmentProblem


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except EnvironmentProblem as problem:
        print(problem, file=sys.stderr)
        sys.exit(2)


if __name__ == "__main__":
    main()
