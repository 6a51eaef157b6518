"""Settings that every shape of Lumenkeep shares."""

import os
from pathlib import Path
from typing import Any

BASE_DIR = Path(__file__).resolve().parents[2]
DATA_DIR = Path(os.environ.get("LUMENKEEP_DATA", BASE_DIR / "var"))
DROP_DIR = Path(os.environ.get("LUMENKEEP_DROP", DATA_DIR / "drop"))  # where machines leave their records
LISTS_DROP_DIR = Path(
    os.environ.get("LUMENKEEP_LISTS_DROP", DATA_DIR / "lists-drop")
)  # where list systems leave messages

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.admin",
    "django.contrib.humanize",
    "axes",
    "csp",
    "django_htmx",
    "template_partials",
    "rest_framework",
    "rest_framework.authtoken",
    "drf_spectacular",
    "journal",
    "instruments",
    "trays",
    "reprocessing",
    "lists",
    "config",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "config.middleware.without_nul",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "config" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "config.context.page",
            ],
            "builtins": ["config.templatetags.words", "config.templatetags.planned"],
        },
    }
]

AUTH_USER_MODEL = "journal.Person"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "day"
LOGOUT_REDIRECT_URL = "sign-in"
SESSION_COOKIE_AGE = 12 * 60 * 60  # a shift
SESSION_COOKIE_SAMESITE = "Strict"

# Stations share an address, so the lock-out counts by sign-in name alone.
AXES_LOCKOUT_PARAMETERS = ["username"]
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25  # hours
AXES_RESET_ON_SUCCESS = True
AXES_VERBOSE = False
SILENCED_SYSTEM_CHECKS = ["axes.W006"]  # wants the address counted, see above
AXES_LOCKOUT_TEMPLATE = "journal/locked_out.html"

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "form-action": ["'self'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
    }
}

LANGUAGE_CODE = "en-gb"
TIME_ZONE = os.environ.get("TIME_ZONE", "Europe/Berlin")
USE_TZ = True
USE_I18N = False
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
DATA_UPLOAD_MAX_MEMORY_SIZE = 20 * 1024 * 1024

STATIC_URL = "static/"

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "rest_framework.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_PAGINATION_CLASS": "journal.paging.Pages",
    "EXCEPTION_HANDLER": "config.errors.api_answer",
    "PAGE_SIZE": 100,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Lumenkeep",
    "DESCRIPTION": "Instrument sets and their sterile processing for rigid airway endoscopy.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_NAME_OVERRIDES": {
        "PartKind": "instruments.models.parts._KINDS",
        "PieceState": "instruments.models.pieces._STATES",
        "LoanState": "instruments.models.loans._STATES",
        "PackKind": "trays.models.packs._KINDS",
        "PackState": "trays.models.packs._STATES",
        "MachineKind": "reprocessing.models.machines._KINDS",
        "MachineState": "reprocessing.models.machines._STATES",
        "LoadKind": "reprocessing.models.loads._KINDS",
        "LoadState": "reprocessing.models.loads._STATES",
        "IndicatorKind": "reprocessing.models.evidence._INDICATORS",
        "IndicatorResult": "reprocessing.models.evidence._RESULTS",
    },
}

CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TIMEZONE = TIME_ZONE
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False

# Notices that leave the unit. Webhooks go to these hosts alone; none unless the site names them.
SITE_ADDRESS = os.environ.get("SITE_ADDRESS", "").rstrip("/")  # before the path of a page, in letters
WEBHOOK_HOSTS = [host.strip().lower() for host in os.environ.get("WEBHOOK_HOSTS", "").split(",") if host.strip()]
WEBHOOK_KEY_FILE = Path(os.environ.get("WEBHOOK_KEY_FILE", DATA_DIR / "webhook_key"))
DEFAULT_FROM_EMAIL = os.environ.get("EMAIL_FROM", "lumenkeep@localhost")
EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
EMAIL_TIMEOUT = 10  # seconds

# Public keys with which the trail was signed before the present one, parted by commas.
TRAIL_FORMER_KEYS = [key for key in os.environ.get("TRAIL_FORMER_KEYS", "").split(",") if key]

VERSION = "0.1.0"
REVISION = os.environ.get("LUMENKEEP_REVISION", "")  # of the code, for a copy that is no work tree of git

UNIT_NAME = os.environ.get("UNIT_NAME", "Airway unit")
HELP_EXTENSION = os.environ.get("HELP_EXTENSION", "")

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "plain"}},
    # Drawing a label takes seven steps, each of them news to the libraries that draw it.
    "loggers": {name: {"level": "WARNING"} for name in ("weasyprint", "fontTools")},
    "root": {"handlers": ["console"], "level": os.environ.get("LOG_LEVEL", "INFO")},
}
