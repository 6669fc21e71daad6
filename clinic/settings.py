"""One settings module. Every value that differs between machines is an environment variable.

With no `DATABASE_URL` this is a trial: a private database of its own, plain HTTP on this machine.
With one it is a clinic's own server: it refuses to start without a secret key and host names.
"""

import os
import secrets
from datetime import timedelta
from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from clinic import trial_database


def text(name: str, default: str | None = None) -> str:
    value = os.environ.get(name, default)
    if value is None or not value.strip():
        if default is not None:
            return default
        raise ImproperlyConfigured(f"Set the environment variable {name}; DEVELOPERS.md says how.")
    return value.strip()


def flag(name: str, default: bool) -> bool:
    value = os.environ.get(name, "yes" if default else "no").strip().lower()
    if value not in {"yes", "no"}:
        raise ImproperlyConfigured(f"{name} must be yes or no, not {value!r}.")
    return value == "yes"


def number(name: str, default: int, *, least: int = 0) -> int:
    value = os.environ.get(name, str(default)).strip()
    if not value.isdigit() or int(value) < least:
        raise ImproperlyConfigured(
            f"{name} must be a whole number, {least} or more, not {value!r}."
        )
    return int(value)


def hosts(name: str) -> list[str]:
    """Names between commas, with or without a space after each."""
    return [host for host in map(str.strip, text(name).split(",")) if host]


def secret_key(name: str) -> str:
    """A key as long as Django's deployment check asks for (security.W009)."""
    key = text(name)
    if len(key) < SHORTEST_KEY:
        raise ImproperlyConfigured(f"{name} must be {SHORTEST_KEY} characters or more.")
    return key


def trial_secret(path: Path) -> str:
    """The trial's own secret, made once and kept beside the code for this user only."""
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError:
        return path.read_text()
    with os.fdopen(handle, "w") as file:
        file.write(secret := secrets.token_urlsafe(50))
    return secret


SHORTEST_KEY = 50
BASE_DIR = Path(__file__).resolve().parent.parent
IS_TRIAL = "DATABASE_URL" not in os.environ
TRIAL_FOLDER = Path(text("EBBLINE_TRIAL_FOLDER", str(trial_database.cluster_folder(BASE_DIR))))

DEBUG = False
if IS_TRIAL:
    SECRET_KEY = text("EBBLINE_SECRET_KEY", "") or trial_secret(BASE_DIR / ".trial_secret")
    ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]"]
    DATABASES = {"default": trial_database.connection(TRIAL_FOLDER)}
else:
    SECRET_KEY = secret_key("EBBLINE_SECRET_KEY")
    ALLOWED_HOSTS = hosts("EBBLINE_HOSTS")
    DATABASES = {"default": dj_database_url.config(conn_max_age=60, conn_health_checks=True)}

CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in ALLOWED_HOSTS] if not IS_TRIAL else []

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.postgres",
    "axes",
    "csp",
    "pgtrigger",
    "bootstrap",
    "crispy_forms",
    "crispy_bootstrap5",
    "django_htmx",
    "procrastinate.contrib.django",
    "clinic.common",
    "clinic.accounts",
    "clinic.audit",
    "clinic.clients",
    "measurements",
    "programmes",
    "clinic.scheduling",
    "clinic.visits",
    "clinic.letters",
    "clinic.overview",
    "clinic.exchange",
    "clinic.keeping",
    "clinic.demo",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "clinic.common.methods.FormsOnly",
    "clinic.common.middleware.PrivatePages",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "clinic.audit.origin.RequestAtHand",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "clinic.accounts.idle.IdleSignOut",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "clinic.urls"
WSGI_APPLICATION = "clinic.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "clinic.accounts.context.practice",
            ],
            "builtins": ["clinic.common.templatetags.units", "clinic.common.templatetags.permits"],
        },
    },
]
CRISPY_ALLOWED_TEMPLATE_PACKS = "bootstrap5"
CRISPY_TEMPLATE_PACK = "bootstrap5"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "accounts.User"
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign-in"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "clinic.accounts.passwords.LongEnough"},
    {"NAME": "clinic.accounts.passwords.NotCommon"},
    {"NAME": "clinic.accounts.passwords.NotExpected"},
]
SECOND_FACTOR_REQUIRED = flag("EBBLINE_SECOND_FACTOR", not IS_TRIAL)
IDLE_MINUTES = number("EBBLINE_IDLE_MINUTES", 15, least=1)

# Five wrong passwords for a name from an address: none is looked at for a quarter of an hour.
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_USERNAME_FORM_FIELD = "username"
AXES_USERNAME_CALLABLE = "clinic.accounts.locks.name_tried"
AXES_CLIENT_IP_CALLABLE = "clinic.accounts.locks.address_counted"
AXES_LOCKOUT_CALLABLE = "clinic.accounts.locks.answer"
# Fields of the pages that ask for a password again: it keeps what was sent, but not these.
AXES_SENSITIVE_PARAMETERS = ["username", "ip_address", "password_now", "again", "code"]
# It keeps no list of who signed in, and writes neither name nor address to a log.
AXES_DISABLE_ACCESS_LOG = True
AXES_VERBOSE = False

LANGUAGE_CODE = "en-us"
TIME_ZONE = text("EBBLINE_TIME_ZONE", "America/New_York")
USE_I18N = False
USE_TZ = True
# What apps above the schedule find due for its recall list: today -> client id -> recalls.
RECALL_SOURCES = ["clinic.visits.selectors.plan_facts.plans_due"]
# What apps above the clients bring up to date, in the same transaction, when an episode is edited.
EPISODE_FOLLOWERS = ["measurements.services.standings.episode_followed"]
# What apps above the pages that join apps have to say on today: person -> notices.
TODAY_NOTICES = [
    "clinic.clients.emergency_services.notices_for",
    "clinic.keeping.selectors.standing.notices_for",
]
# One way to write a date everywhere, safe on both sides of the Atlantic: 4 Mar 2026.
FORMAT_MODULE_PATH = ["clinic.common.formats"]

STATIC_URL = "static/"
# The trial serves files where they lie; a clinic's server serves what collectstatic gathered.
STATIC_ROOT = (
    None if IS_TRIAL else Path(text("EBBLINE_STATIC_FOLDER", str(BASE_DIR / ".collected")))
)
STATICFILES_DIRS = [BASE_DIR / "static"]
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.FileSystemFinder",
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "clinic.common.finders.PackageFinder",
]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if IS_TRIAL
        else "clinic.common.storage.ManifestStorage"
    },
}
WHITENOISE_USE_FINDERS = IS_TRIAL
WHITENOISE_AUTOREFRESH = False

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "frame-src": [NONE],
        "object-src": [NONE],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SESSION_ENGINE = "clinic.accounts.sessions"
# A message may name a client: it waits in the session, never in a cookie on a shared computer.
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
SESSION_MINUTES = number("EBBLINE_SESSION_MINUTES", 600, least=1)
# Longer by what a form may come too late: it is kept for the person whose sign-in has ended.
SESSION_COOKIE_AGE = 60 * (SESSION_MINUTES + IDLE_MINUTES)
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = not IS_TRIAL
# The prefix makes a browser refuse the cookie from any other host or over plain HTTP.
SESSION_COOKIE_NAME = "ebbline" if IS_TRIAL else "__Host-ebbline"
CSRF_COOKIE_NAME = "ebbline_form" if IS_TRIAL else "__Host-ebbline_form"
CSRF_COOKIE_HTTPONLY = True
CSRF_FAILURE_VIEW = "clinic.accounts.views.sign_in.form_too_old"
SECURE_SSL_REDIRECT = flag("EBBLINE_HTTPS_REDIRECT", not IS_TRIAL)
SECURE_HSTS_SECONDS = 0 if IS_TRIAL else number("EBBLINE_HSTS_SECONDS", 31_536_000)
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = not IS_TRIAL
BEHIND_PROXY = flag("EBBLINE_BEHIND_PROXY", False)
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

# Work in the background (`manage.py work`). A worker silent for so long counts as dead.
PROCRASTINATE_AUTODISCOVER_MODULE_NAME = None
PROCRASTINATE_IMPORT_PATHS = ["clinic.letters.tasks"]
PROCRASTINATE_WORKER_DEFAULTS = {
    "update_heartbeat_interval": 3.0,
    "stalled_worker_timeout": 15.0,
    "delete_jobs": "successful",
}

# Backups are sealed with a passphrase, from here or from a file that only the app's user may read.
BACKUP_PASSPHRASE = text("EBBLINE_BACKUP_PASSPHRASE", "")
BACKUP_PASSPHRASE_FILE = text("EBBLINE_BACKUP_PASSPHRASE_FILE", "")
# A trial is for trying: nobody is warned that it is not backed up.
BACKUPS_EXPECTED = not IS_TRIAL

# Reminders go out only when a mail server is named.
EMAIL_HOST = text("EBBLINE_MAIL_HOST", "")
EMAIL_PORT = number("EBBLINE_MAIL_PORT", 587)
EMAIL_HOST_USER = text("EBBLINE_MAIL_USER", "")
EMAIL_HOST_PASSWORD = text("EBBLINE_MAIL_PASSWORD", "")
EMAIL_USE_TLS = flag("EBBLINE_MAIL_TLS", True)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = text("EBBLINE_MAIL_FROM", "") or EMAIL_HOST_USER

DATA_UPLOAD_MAX_MEMORY_SIZE = 12 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 12 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2000

# Log lines carry paths and exception types, never form content: an error page or a log file must
# not become a second medical record.
DEFAULT_EXCEPTION_REPORTER_FILTER = "clinic.common.reporting.NoContent"
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}},
    "filters": {"no_content": {"()": "clinic.common.reporting.NoContentInLogs"}},
    "handlers": {
        "console": {
            "class": "logging.StreamHandler",
            "formatter": "plain",
            "filters": ["no_content"],
        }
    },
    "root": {"handlers": ["console"], "level": text("EBBLINE_LOG_LEVEL", "WARNING")},
    "loggers": {
        "django": {"handlers": ["console"], "propagate": False},
        # Its warnings describe the sender of each wrong password; its errors say what is broken.
        "axes": {"handlers": ["console"], "propagate": False, "level": "ERROR"},
    },
}
