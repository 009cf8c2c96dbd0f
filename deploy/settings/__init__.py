"""Django settings of an Unlit site, all of them decided by the environment (deploy/env.py)."""

import os
from pathlib import Path
from typing import Any

from csp.constants import NONE, SELF
from whitenoise.compress import Compressor

from deploy.env import load

BASE_DIR = Path(__file__).resolve().parents[2]
ENVIRONMENT = load(os.environ, BASE_DIR)
PRODUCTION = ENVIRONMENT.mode == "production"

SECRET_KEY = ENVIRONMENT.secret_key
SECRET_KEY_FALLBACKS = list(ENVIRONMENT.secret_key_fallbacks)
DEBUG = False
ALLOWED_HOSTS = list(ENVIRONMENT.allowed_hosts)
CSRF_TRUSTED_ORIGINS = list(ENVIRONMENT.csrf_trusted_origins)
VERSION = "0.1.0"
SITE_URL = ENVIRONMENT.site_url
LOCAL_DIR = ENVIRONMENT.local_dir

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "allauth.account",
    "allauth.mfa",
    "allauth.socialaccount",
    "allauth.socialaccount.providers.openid_connect",
    "allauth.usersessions",
    "csp",
    "django_tasks",
    "django_tasks_db",
    "django_guid",
    "django_htmx",
    "django_prometheus",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "registry.apps.RegistryConfig",
    "loops.apps.LoopsConfig",
    "reports.apps.ReportsConfig",
    "deploy.operations.apps.OperationsConfig",
]

MIDDLEWARE = [
    "deploy.operations.probes.ProbesMiddleware",
    "django_guid.middleware.guid_middleware",
    "deploy.operations.logs.RequestLines",
    "django_prometheus.middleware.PrometheusBeforeMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "deploy.operations.keeping.KeepNothing",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "registry.api.errors.SlashMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "registry.language.LanguageMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "registry.login.middleware.SecondFactorMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "csp.middleware.CSPMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "django_prometheus.middleware.PrometheusAfterMiddleware",
]
# A mark of the request that a proxy sends is taken where it is well formed; each line of the log wears it.
DJANGO_GUID = {"GUID_HEADER_NAME": "X-Request-ID", "VALIDATE_GUID": True, "EXPOSE_HEADER": False, "INTEGRATIONS": []}
PROMETHEUS_EXPORT_MIGRATIONS = False
METRICS_ALLOWED = list(ENVIRONMENT.metrics_allowed)
METRICS_TOKEN = ENVIRONMENT.metrics_token

ROOT_URLCONF = "deploy.urls"
WSGI_APPLICATION = "deploy.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "builtins": ["django.templatetags.i18n", "registry.templatetags.language"],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "registry.context.site_context",
            ],
        },
    }
]

DATABASES = {"default": ENVIRONMENT.database}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "registry.User"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS: list[dict[str, Any]] = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in ("UserAttributeSimilarityValidator", "MinimumLengthValidator", "CommonPasswordValidator")
]
if ENVIRONMENT.breached_passwords:
    AUTH_PASSWORD_VALIDATORS.append(
        {
            "NAME": "registry.login.breached.BreachedPasswordValidator",
            "OPTIONS": {"path": str(ENVIRONMENT.breached_passwords)},
        }
    )
AUTHENTICATION_BACKENDS = ["registry.login.backends.Backend"]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "account_login"

# One cache for all workers: the counts of failed attempts are kept there.
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "registry_cachedvalue",
        "OPTIONS": {"MAX_ENTRIES": 100_000},
    },
    # What a worker need not make twice: see registry/remembering.py.
    "worker": {
        "BACKEND": "django.core.cache.backends.locmem.LocMemCache",
        "LOCATION": "worker",
        "OPTIONS": {"MAX_ENTRIES": 500},
    },
}

ACCOUNT_ADAPTER = "registry.login.adapters.Accounts"
ACCOUNT_FORMS = {
    "login": "registry.login.forms.LogIn",
    "reauthenticate": "registry.login.forms.PasswordAgain",
    "reset_password": "registry.login.resetting.Forgotten",
    "user_token": "registry.login.resetting.Token",
    "reset_password_from_key": "registry.login.resetting.NewPassword",
}
# Who forgot a password is mailed a link where there is a mail server; nobody is told whether an address is known.
PASSWORD_RESET_BY_MAIL = ENVIRONMENT.email["EMAIL_BACKEND"] == "django.core.mail.backends.smtp.EmailBackend"
PASSWORD_RESET_TIMEOUT = 3600
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_LOGIN_METHODS = {"username"}
ACCOUNT_SIGNUP_FIELDS = ["username*", "password1*", "password2*"]
ACCOUNT_PRESERVE_USERNAME_CASING = True
ACCOUNT_SESSION_REMEMBER = False
# Failures count for one account from one address: whoever is guessed at elsewhere still gets in. The wide limits by
# address alone hold against trying one password on many accounts, and leave room for a plant behind one address.
ACCOUNT_RATE_LIMITS = {
    "login": "240/m/ip",
    "login_failed": "100/10m/ip,5/5m/key",
    "reauthenticate": "10/5m/user",
    "own_password": "5/5m/key",
    "reset_password": "20/10m/ip,3/30m/key",
    "reset_password_from_key": "20/5m/ip",
    "sign": "5/5m/key",
}
# A form that is sent on to another host would break form-action of the content security policy: hence a link.
SOCIALACCOUNT_LOGIN_ON_GET = True
SOCIALACCOUNT_ADAPTER = "registry.login.directories.Directories"
SOCIALACCOUNT_REQUESTS_TIMEOUT = 10
SOCIALACCOUNT_PROVIDERS = {
    "openid_connect": {
        "OAUTH_PKCE_ENABLED": True,
        "APPS": [
            {
                "provider_id": provider["id"],
                "name": provider["name"],
                "client_id": provider["client_id"],
                "secret": provider["client_secret"],
                "settings": {
                    "server_url": provider["issuer"],
                    **{name: provider[name] for name in ("account_claim", "groups_claim", "roles")},
                },
            }
            for provider in ENVIRONMENT.oidc_providers
        ],
    }
}
ALLAUTH_TRUSTED_PROXY_COUNT = ENVIRONMENT.trusted_proxies
MFA_ADAPTER = "registry.login.adapters.SecondFactors"
MFA_FORMS = {
    "authenticate": "registry.login.forms.SecondFactor",
    "reauthenticate": "registry.login.forms.CodeAgain",
    "activate_totp": "registry.login.forms.AppCode",
    "add_webauthn": "registry.login.forms.NewPasskey",
    "login_webauthn": "registry.login.forms.PasskeyAlone",
    "authenticate_webauthn": "registry.login.forms.PasskeySecond",
    "reauthenticate_webauthn": "registry.login.forms.PasskeyAgain",
    "edit_webauthn": "registry.login.forms.PasskeyName",
}
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_ALLOW_UNVERIFIED_EMAIL = True
MFA_TOTP_ISSUER = "Unlit"
MFA_TOTP_TOLERANCE = 1

LANGUAGE_CODE = ENVIRONMENT.language_code
LANGUAGES = [("en", "English"), ("de", "Deutsch")]
LOCALE_PATHS = [BASE_DIR / "templates" / "locale"]
FORMAT_MODULE_PATH = ["deploy.formats"]
TIME_ZONE = ENVIRONMENT.time_zone
USE_I18N = True
USE_TZ = True

STATIC_URL = "/static/"
STATICFILES_DIRS = [BASE_DIR / "templates" / "static"]
STATIC_ROOT = ENVIRONMENT.local_dir / "static"
MEDIA_ROOT = ENVIRONMENT.media_dir
ATTACHMENT_MAX_BYTES = 20_000_000
CLAMD = ENVIRONMENT.clamd
STORAGES = {
    "default": ENVIRONMENT.file_store,
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
# What is compressed already, and source maps, which are large and which only a debugger reads.
WHITENOISE_SKIP_COMPRESS_EXTENSIONS = (*Compressor.SKIP_COMPRESS_EXTENSIONS, "map")

WEBHOOK_ORIGINS = list(ENVIRONMENT.webhook_origins)
WEBHOOK_NETWORKS = list(ENVIRONMENT.webhook_networks)

EMAIL_BACKEND = ENVIRONMENT.email.get("EMAIL_BACKEND", "django.core.mail.backends.console.EmailBackend")
for _name, _value in ENVIRONMENT.email.items():
    globals()[_name] = _value
DEFAULT_FROM_EMAIL = ENVIRONMENT.default_from_email

TASK_BACKENDS = {
    "database": "django_tasks_db.DatabaseBackend",
    "immediate": "django_tasks.backends.immediate.ImmediateBackend",
}
TASKS = {"default": {"BACKEND": TASK_BACKENDS[ENVIRONMENT.tasks]}}

SESSION_ENGINE = "registry.login.sessions"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = ENVIRONMENT.https
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SECURE_SSL_REDIRECT = ENVIRONMENT.https
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if ENVIRONMENT.https else None
SECURE_HSTS_SECONDS = 31_536_000 if ENVIRONMENT.https else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = ENVIRONMENT.https
# The list of browsers is of whole domains, for all that an organisation has there: nobody's site asks for it unasked.
SECURE_HSTS_PRELOAD = ENVIRONMENT.https and ENVIRONMENT.hsts_preload
SILENCED_SYSTEM_CHECKS = ["security.W021"]
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:"],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5_000

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "registry.api.authentication.PasswordAuthentication",
        "registry.api.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["registry.api.parsers.StrictJSONParser"],
    "EXCEPTION_HANDLER": "registry.api.errors.problem_response",
    "DEFAULT_SCHEMA_CLASS": "registry.api.describing.Described",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Unlit",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "POSTPROCESSING_HOOKS": ["registry.api.describing.strict_bodies"],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.IsAuthenticated"],
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"request": {"()": "deploy.operations.logs.RequestMark"}},
    "formatters": {
        "json": {"()": "deploy.operations.logs.Json"},
        "text": {"()": "deploy.operations.logs.Lines"},
    },
    "handlers": {
        "console": {
            "class": "logging.StreamHandler",
            "formatter": ENVIRONMENT.log_format,
            "filters": ["request"],
        }
    },
    "root": {"handlers": ["console"], "level": ENVIRONMENT.log_level},
    "loggers": {
        # Django's own settings of it are those of a developer's machine.
        "django": {"handlers": [], "level": "NOTSET", "propagate": True},
        "django.server": {"handlers": [], "level": "NOTSET", "propagate": True},
        "django_guid": {"level": "ERROR"},
        "pikepdf": {"level": "WARNING"},
        "unlit.requests": {"level": "INFO" if PRODUCTION else "WARNING"},
    },
}
