"""PostgreSQL, Redis, Celery workers and gunicorn; everything that differs by site comes from the environment."""

import os
from pathlib import Path

from config.settings.base import *  # noqa: F403
from config.settings.base import DATA_DIR
from config.settings.databases import from_url

SECRET_KEY = os.environ["SECRET_KEY"]
ALLOWED_HOSTS = [*os.environ["ALLOWED_HOSTS"].split(","), "127.0.0.1"]  # the health check asks from inside
CSRF_TRUSTED_ORIGINS = [origin for origin in os.environ.get("CSRF_TRUSTED_ORIGINS", "").split(",") if origin]
DATABASES = {"default": from_url(os.environ["DATABASE_URL"])}
TRAIL_KEY_FILE = Path(os.environ["TRAIL_KEY_FILE"])
LIST_KEY_FILE = Path(os.environ["LIST_KEY_FILE"])
EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
EMAIL_HOST = os.environ.get("EMAIL_HOST", "localhost")
EMAIL_PORT = int(os.environ.get("EMAIL_PORT", "25"))
EMAIL_HOST_USER = os.environ.get("EMAIL_HOST_USER", "")
_password = Path(os.environ.get("EMAIL_PASSWORD_FILE", DATA_DIR / "email_password"))
EMAIL_HOST_PASSWORD = _password.read_text().strip() if _password.is_file() else ""  # only the worker needs it
EMAIL_USE_TLS = os.environ.get("EMAIL_USE_TLS", "0") == "1"
CELERY_BROKER_URL = os.environ["REDIS_URL"]
CACHES = {"default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": os.environ["REDIS_URL"]}}
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
STATIC_ROOT = os.environ.get("STATIC_ROOT", DATA_DIR / "static")

# The proxy in front must set this header itself, never pass on what a browser sent.
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_SSL_REDIRECT = os.environ.get("SECURE_SSL_REDIRECT", "1") == "1"
SECURE_REDIRECT_EXEMPT = [r"^health/$"]
SECURE_HSTS_SECONDS = 31_536_000
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True
SESSION_COOKIE_SECURE = True
CSRF_COOKIE_SECURE = True
