"""Settings of the test suite: as an instance runs, with a quick password hash and static files as they lie."""

from deploy.settings import *  # noqa: F403
from deploy.settings import DATABASES, TASK_BACKENDS

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_AUTOREFRESH = True
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
ALLOWED_HOSTS = ["*"]
TASKS = {"default": {"BACKEND": TASK_BACKENDS["immediate"]}}
DATABASES["default"].pop("CONN_MAX_AGE", None)
