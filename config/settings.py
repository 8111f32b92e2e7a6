"""Settings, from the environment alone. PRODUCTION.md lists the names.

``SWARDLINE_ENV=local`` (the default) needs nothing: embedded servers, a key made once, this machine
only. ``SWARDLINE_ENV=production`` refuses to start until the secrets and addresses are given.
"""

from datetime import timedelta
from pathlib import Path
from typing import Any

import django_stubs_ext
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from config import environment
from config.embedded import valkey

# Lets classes such as ModelChoiceField name what they hold, as the type checker wants it.
django_stubs_ext.monkeypatch()

BASE_DIR = Path(__file__).resolve().parent.parent
SWARDLINE_DATA = environment.folder("SWARDLINE_DATA", BASE_DIR / ".swardline")
SWARDLINE_ENV = environment.choice("SWARDLINE_ENV", "local", ("local", "production"))
PRODUCTION = SWARDLINE_ENV == "production"
NEEDED_IN_PRODUCTION = ("SECRET_KEY", "ALLOWED_HOSTS", "DATABASE_URL", "CELERY_BROKER_URL")

if PRODUCTION:
    missing = [name for name in NEEDED_IN_PRODUCTION if not environment.text(name, "")]
    if missing:
        raise ImproperlyConfigured(
            f"SWARDLINE_ENV=production needs {', '.join(missing)} in the environment. "
            "Set them, or leave SWARDLINE_ENV unset to try Swardline on this machine."
        )

DEBUG = False
SECRET_KEY = environment.text("SECRET_KEY", "") or environment.kept_secret(
    SWARDLINE_DATA / "secret-key"
)
ALLOWED_HOSTS = environment.names("ALLOWED_HOSTS", ("localhost", "127.0.0.1", "[::1]"))
CSRF_TRUSTED_ORIGINS = environment.names("CSRF_TRUSTED_ORIGINS", ())

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.postgres",
    "django.contrib.humanize",
    "pgtrigger",
    "rest_framework",
    "drf_spectacular",
    "django_filters",
    "knox",
    "axes",
    "csp",
    "django_htmx",
    "config",
    "herd",
    "feed",
    "milk",
]
MIDDLEWARE = [
    "config.logs.RequestNumber",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    # Pages are long tables; a phone in a barn takes a tenth of them. (The numbers that forms carry
    # are masked anew on every page, so that the length of an answer tells nothing about them.)
    "django.middleware.gzip.GZipMiddleware",
    "csp.middleware.CSPMiddleware",
    "config.access.watch.Sessions",
    "config.language.ReadersLanguage",
    "config.body_size.MeasuredBody",
    "django.middleware.common.CommonMiddleware",
    "config.access.watch.FormNumbers",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "config.access.watch.Watch",
    "config.replica.Wrote",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
    "config.once_a_page.OncePerPage",
    "config.offline.PhoneQueue",
    "config.views.errors.RefusalsAsPages",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "config.templating.Templates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.template.context_processors.i18n",
                "django.contrib.auth.context_processors.auth",
                "config.offline.words_once",
            ],
        },
    }
]

# A web process shares a pool of connections between its threads (config/wsgi.py asks for it);
# commands and workers keep one connection each.
DATABASE_POOL_SIZE = environment.whole("DATABASE_POOL_SIZE", 0)
PLANNED_ONCE = "-c plan_cache_mode=force_generic_plan"
DATABASES: dict[str, dict[str, Any]] = {
    "default": environment.database("DATABASE_URL")
    or {"ENGINE": "config.embedded.postgresql", "NAME": "swardline", "OPTIONS": {}}
}
DATABASES["default"]["CONN_MAX_AGE"] = 0 if DATABASE_POOL_SIZE else 60
DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
# Statements of config/asking.py are planned once for a connection, whatever they are asked with:
# planning them anew was half of a trace forward. A pooler that hands out another connection for
# each transaction may not know them: then "no".
if environment.flag("DATABASE_PREPARE", True):
    DATABASES["default"]["OPTIONS"]["prepare_threshold"] = 0
    DATABASES["default"]["OPTIONS"]["options"] = " ".join(
        [DATABASES["default"]["OPTIONS"].get("options", ""), PLANNED_ONCE]
    ).strip()
if DATABASE_POOL_SIZE:
    # A database that is away is told to whoever waits before the phone gives up, and one that is
    # back is found at once: a longer row of attempts waits longer between them.
    DATABASES["default"]["OPTIONS"]["pool"] = {
        "min_size": 1,
        "max_size": DATABASE_POOL_SIZE,
        "timeout": 3.0,
        "reconnect_timeout": 2.0,
    }
# A server that follows the first, for reads that may be some seconds old (config/replica.py).
# Nobody waits long for it: the first one has every answer.
REPLICA_SECONDS = environment.whole("REPLICA_SECONDS", 5)
if follower := environment.database("REPLICA_URL"):
    follower["OPTIONS"] = {"connect_timeout": "2", **follower["OPTIONS"]}
    DATABASES["replica"] = {
        **follower,
        "CONN_MAX_AGE": DATABASES["default"]["CONN_MAX_AGE"],
        "CONN_HEALTH_CHECKS": True,
        "TEST": {"MIRROR": "default"},
    }
    if DATABASE_POOL_SIZE:
        pool = {"min_size": 0, "max_size": DATABASE_POOL_SIZE, "timeout": 2.0}
        DATABASES["replica"]["OPTIONS"]["pool"] = pool
EMBEDDED_FSYNC = True
DEFAULT_AUTO_FIELD = "django.db.models.AutoField"

# By their own names; English is the language of the source, with the day before the month.
LANGUAGES = [
    ("en-gb", "English"),
    ("de", "Deutsch"),
    ("it", "Italiano"),
    ("fr", "Français"),
    ("ro", "Română"),
]
# The estate's own: what is stored in words, and what a reader gets who asks for no other.
ESTATE_LANGUAGE = environment.choice("ESTATE_LANGUAGE", "en", ("en", "de", "it", "fr", "ro"))
LANGUAGE_CODE = "en-gb" if ESTATE_LANGUAGE == "en" else ESTATE_LANGUAGE
LANGUAGE_COOKIE_AGE = 31_536_000
LANGUAGE_COOKIE_HTTPONLY = True
LANGUAGE_COOKIE_SAMESITE = "Lax"
LANGUAGE_COOKIE_SECURE = PRODUCTION
TIME_ZONE = environment.zone("ESTATE_TIME_ZONE", "Europe/Vienna")
USE_TZ = True
# A phone whose clock is further from the server's than this has the times of its entries put right.
PHONE_CLOCK_MINUTES = environment.whole("PHONE_CLOCK_MINUTES", 2, least=1)
# The laws and schemes whose limits count on this estate; rows of others are kept, and say nothing.
ESTATE_SCHEMES = environment.names(
    "ESTATE_SCHEMES",
    (
        "EU 853/2004",
        "EU 2023/915",
        "EU 2073/2005",
        "estate",
        "hard cheese from raw milk",
        "cheese milk without silage",
        "EU 37/2010",
    ),
)

# What the codes on labels lead to; printed on every wheel, so it is given before any is printed.
PUBLIC_URL = environment.text(
    "PUBLIC_URL", "" if PRODUCTION else f"http://127.0.0.1:{environment.text('PORT', '8000')}"
)

STATIC_URL = "static/"
# Elsewhere than in production the files are served from where they lie, without `collectstatic`.
STATIC_ROOT = BASE_DIR / "staticfiles" if PRODUCTION else None
WHITENOISE_USE_FINDERS = not PRODUCTION
MEDIA_ROOT = SWARDLINE_DATA / "files"
FILE_UPLOAD_PERMISSIONS = 0o600
# The largest file that `load` takes in at once, in megabytes; it is held in memory.
LOAD_LIMIT_MB = environment.whole("LOAD_LIMIT_MB", 32)
# Where backups go, where they are copied to (folders that are there: a disk, a mount; or addresses
# such as s3://bucket/folder), the hour of the estate's clock after which the day's is made, and how
# many days, weeks and months stay.
BACKUP_FOLDER = environment.folder("BACKUP_FOLDER", SWARDLINE_DATA / "backups")
BACKUP_COPIES: list[Path | str] = [
    name if name.startswith("s3://") else Path(name)
    for name in environment.names("BACKUP_COPIES", ())
]
# The server behind s3:// addresses; without an endpoint the one that gave them their name.
BACKUP_S3_ENDPOINT = environment.text("BACKUP_S3_ENDPOINT", "")
BACKUP_S3_REGION = environment.text("BACKUP_S3_REGION", "us-east-1")
BACKUP_S3_KEY = environment.text("BACKUP_S3_KEY", "")
BACKUP_S3_SECRET = environment.text("BACKUP_S3_SECRET", "")
BACKUP_HOUR = environment.whole("BACKUP_HOUR", 2, most=23)
BACKUP_KEEP_DAILY = environment.whole("BACKUP_KEEP_DAILY", 14)
BACKUP_KEEP_WEEKLY = environment.whole("BACKUP_KEEP_WEEKLY", 8)
BACKUP_KEEP_MONTHLY = environment.whole("BACKUP_KEEP_MONTHLY", 36)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage",
        # Gathered by root, read by the service: unlike what people send in, they are no secret.
        "OPTIONS": {"file_permissions_mode": 0o644, "directory_permissions_mode": 0o755},
    },
}

LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "login"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "config.roles.UserWithRoles",
    "config.access.phones.ByPin",
]
# A hash that needs memory; older ones are written anew at the next sign-in.
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.ScryptPasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
PASSWORD_RULES = "django.contrib.auth.password_validation"
AUTH_PASSWORD_VALIDATORS: list[dict[str, Any]] = [
    {"NAME": f"{PASSWORD_RULES}.UserAttributeSimilarityValidator"},
    {"NAME": f"{PASSWORD_RULES}.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": f"{PASSWORD_RULES}.CommonPasswordValidator"},
    {"NAME": f"{PASSWORD_RULES}.NumericPasswordValidator"},
    {"NAME": "config.access.passwords.NotOfThisPlace"},
]
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_VERBOSE = False
AXES_CLIENT_IP_CALLABLE = "config.client_address.address_of"
AXES_LOCKOUT_CALLABLE = "config.views.errors.locked_out"

# How long a session lasts without anything done, and at the longest; of several roles the shortest
# counts. Who decides about medicine, money and people is asked again sooner.
SESSION_ENGINE = "config.access.store"
SESSION_IDLE_HOURS = environment.numbers(
    "SESSION_IDLE_HOURS",
    {
        **dict.fromkeys(("vet", "office", "owner", "laboratory"), 12),
        **dict.fromkeys(("stockman", "milker", "feed hand", "cheesemaker", "store hand"), 72),
        "inspector": 4,
    },
)
SESSION_DAYS = environment.numbers(
    "SESSION_DAYS",
    {
        **dict.fromkeys(("vet", "office", "owner", "laboratory"), 7),
        **dict.fromkeys(("stockman", "milker", "feed hand", "cheesemaker", "store hand"), 30),
        "inspector": 1,
    },
)
SESSION_COOKIE_AGE = int(timedelta(days=max(SESSION_DAYS.values())).total_seconds())
# Whether vet, office and owner need a one-time code besides the password, and how many days after
# they were entered as a person they get no further without.
CODES_REQUIRED = environment.flag("CODES_REQUIRED", default=PRODUCTION)
CODES_GRACE_DAYS = environment.whole("CODES_GRACE_DAYS", 14)
# On a phone that several people use: a milking, and a shift.
SHARED_PHONE_IDLE_MINUTES = environment.whole("SHARED_PHONE_IDLE_MINUTES", 60, least=1)
SHARED_PHONE_HOURS = environment.whole("SHARED_PHONE_HOURS", 12, least=1)

CSRF_FAILURE_VIEW = "config.views.errors.form_too_old"
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
# A browser takes a cookie of such a name from this very host only, and only encrypted.
SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = (
    ("__Host-session", "__Host-csrf") if PRODUCTION else ("sessionid", "csrftoken")
)
PHONE_COOKIE_NAME = "__Host-phone" if PRODUCTION else "phone"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = PRODUCTION
# Probes ask without encryption; the page holds nothing secret.
SECURE_REDIRECT_EXEMPT = [r"^health$", r"^ready$", r"^metrics$"]
SECURE_HSTS_SECONDS = 31_536_000 if PRODUCTION else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = PRODUCTION
SECURE_REFERRER_POLICY = "same-origin"
# Only behind a proxy that sets (and never passes on) this header.
BEHIND_PROXY = environment.flag("BEHIND_PROXY", default=False)
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "object-src": [NONE],
        "frame-ancestors": [NONE],
        "form-action": [SELF],
        "base-uri": [NONE],
    }
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "config.access.tokens.ByToken",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["config.roles.MayDo"],
    "EXCEPTION_HANDLER": "config.errors.api_exception_handler",
    "DEFAULT_SCHEMA_CLASS": "config.api.schema.FrameSchema",
    "DEFAULT_PAGINATION_CLASS": "config.api.paging.EntryCursor",
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_THROTTLE_CLASSES": [
        "rest_framework.throttling.AnonRateThrottle",
        "rest_framework.throttling.UserRateThrottle",
    ],
    "DEFAULT_THROTTLE_RATES": {
        "anon": "60/min",
        "user": "1200/min",
        "public": "60/min",
        "wall": "30/min",
    },
    # Of the addresses a request claims to come from, only what our own proxy wrote counts.
    "NUM_PROXIES": 1 if BEHIND_PROXY else 0,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
KNOX_TOKEN_MODEL = "config.MachineToken"
REST_KNOX = {"TOKEN_TTL": timedelta(days=90), "AUTO_REFRESH": False}
SPECTACULAR_SETTINGS = {
    "TITLE": "Swardline",
    "DESCRIPTION": "Herd, feed, milk and cheese of one estate, linked both ways.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api",
    "COMPONENT_SPLIT_REQUEST": True,
    # Choices stay where they are used: kinds use the same words ("what") for different choices.
    "POSTPROCESSING_HOOKS": ["config.api.schema.document_errors"],
}

# The name is Celery's own: in the environment it overrides code, so there is only this one way.
CELERY_BROKER_URL = environment.text("CELERY_BROKER_URL", valkey.url(SWARDLINE_DATA))

# Who may read /metrics: with a token whoever has it, without one only this machine.
METRICS_TOKEN = environment.text("METRICS_TOKEN", "")
# A statement that takes longer leaves a line, without its parameters; 0 for none.
SLOW_STATEMENT_MS = environment.whole("SLOW_STATEMENT_MS", 500 if PRODUCTION else 0)
LOG_FORM = environment.choice("LOG_FORM", "json" if PRODUCTION else "line", ("json", "line"))
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {
            "()": "config.logs.AsLine",
            "format": "%(asctime)s %(levelname)s %(name)s: %(message)s",
        },
        "json": {"()": "config.logs.AsJson"},
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": LOG_FORM}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    # Each request, each entry: lines for a machine that keeps them.
    "loggers": {"swardline": {"level": "INFO" if LOG_FORM == "json" else "WARNING"}},
}
