"""The door for gunicorn: `gunicorn deploy.wsgi`."""

import os
import sys

from django.core.wsgi import get_wsgi_application

from deploy.env import EnvironmentProblem

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
try:
    application = get_wsgi_application()
except EnvironmentProblem as problem:
    print(problem, file=sys.stderr)
    sys.exit(2)
