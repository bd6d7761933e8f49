"""All settings. What differs between installations comes from the environment:

VAR_DIR         the folder for files that a run leaves; unset: var in the checkout
DATABASE_URL    where the account is kept; unset: SQLite in VAR_DIR/plant.sqlite3
REDIS_URL       queue and cache; unset: a Redis on this machine's usual port
SECRET_KEY      signs the sessions
BASE_ADDRESS    what people open and what the QR labels carry; https, but on loopback
ALLOWED_HOSTS   more names this site answers to, separated by commas
BEHIND_PROXY    yes, if a proxy in front sets X-Forwarded-Proto and X-Real-IP
WEB_CONCURRENCY how many processes the web server has; gunicorn reads it
DEBUG           yes, on a developer's machine only
DEMO            yes, set by "manage.py demo" for its own processes
CLOCK_OFFSET    seconds by which the demo's clock is shifted
CLOCK_SPEED     how many times as fast as real time the demo's clock runs; unset: once
CLOCK_SINCE     the real second (of 1970 UTC) from which that speed counts

SECRET_KEY, DATABASE_URL and REDIS_URL may stand in a file of their own: then name it
in SECRET_KEY_FILE and so on. Without DEBUG and DEMO this is somebody's plant, and web
server, workers and beat do not start without SECRET_KEY and REDIS_URL.
"""

import os
from pathlib import Path
from urllib.parse import urlsplit

from csp.constants import NONE, SELF
from django.core.management.utils import get_random_secret_key

from config import environment

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(os.environ.get("VAR_DIR") or BASE_DIR / "var").resolve()

# Who may ask, and how

DEBUG = environment.flag("DEBUG")
DEMO = environment.flag("DEMO")
BASE_ADDRESS = environment.base_address("BASE_ADDRESS", "http://localhost:8000")
ALLOWED_HOSTS = [
    str(urlsplit(BASE_ADDRESS).hostname),
    "localhost",
    "127.0.0.1",
    *environment.words("ALLOWED_HOSTS"),
]
CSRF_TRUSTED_ORIGINS = [BASE_ADDRESS]

# Commands need no lasting key. Whatever serves does (config/wsgi.py and heartbeats.py
# insist): with a key per process, each would refuse the sessions of the others.
SECRET_KEY = environment.secret_key(
    otherwise="for-a-developers-own-machine-only" if DEBUG else get_random_secret_key()
)

CLOCK_OFFSET = environment.whole_number("CLOCK_OFFSET")
CLOCK_SPEED = environment.whole_number("CLOCK_SPEED", unset=1)
CLOCK_SINCE = environment.whole_number("CLOCK_SINCE")
environment.check_clock(
    offset=CLOCK_OFFSET, speed=CLOCK_SPEED, since=CLOCK_SINCE, demo=DEMO
)

# The parts

INSTALLED_APPS = [
    "config",
    "oee",
    "maintenance",
    "cells",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",  # its field templates, of which config brings some of its own
    "django_htmx",
    "axes",
    "csp",
]

MIDDLEWARE = [
    # First, so that what they say stands on every answer, whoever gives it.
    "csp.middleware.CSPMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "config.middleware.Alive",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "config.middleware.NoNullCharacters",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "cells.middleware.PlantTime",
    # Last, as its manual asks: it answers for a sign-in that was locked out.
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
ASGI_APPLICATION = "config.asgi.application"
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "config.context.shell",
            ],
        },
    }
]

# Where things are kept

DATABASES = {"default": environment.database(VAR_DIR / "plant.sqlite3")}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

REDIS_URL = environment.redis_url("redis://127.0.0.1:6379/0")
# Whatever else uses the server, the demo of a plant among it, is left alone.
REDIS_PREFIX = "account-demo" if DEMO else "account"

CACHES = {
    "default": {
        "BACKEND": "config.cache.ForgivingRedisCache",
        # A database of its own: clearing the cache must not empty the queue.
        "LOCATION": environment.redis_database(REDIS_URL, 1),
        "KEY_PREFIX": REDIS_PREFIX,
        "OPTIONS": {"socket_connect_timeout": 0.5, "socket_timeout": 0.5},
    }
}

# The queue. Messages are hints: the stale marks in the database are the truth, and
# the sweep heals whatever is lost. So nothing here waits for a broker.

CELERY_BROKER_URL = REDIS_URL
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None  # a worker waits for its broker for ever
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "global_keyprefix": f"{REDIS_PREFIX}:",
    # Above the hard limit below: shorter, and a long job would run twice at once.
    "visibility_timeout": 1200,
    # A killed worker's job comes back in seconds, not after some minutes.
    "unacked_restore_interval": 5,
    "unacked_restore_throttle": 1,
    # A form waits half a second for a broker that is gone, and goes on.
    "socket_connect_timeout": 0.5,
    "socket_timeout": 0.5,
    "max_retries": 0,
    "interval_start": 0,
}
CELERY_TASK_PUBLISH_RETRY = False
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_SOFT_TIME_LIMIT = 840
CELERY_TASK_TIME_LIMIT = 900
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULER = "config.heartbeats:BeatingScheduler"

# Signing in

LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "login"

AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
]

# A team shares a tablet, so one person's wrong guesses must not lock out the others.
# config/sign_in.py says how the guesses before these five are slowed down.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25  # hours; the template says so in words
# Else whoever keeps guessing would keep a colleague out for ever.
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_LOCKOUT_CALLABLE = "config.sign_in.locked_out"
AXES_RESET_ON_SUCCESS = True
# Who signed in when is kept nowhere, but for each person's last time.
AXES_DISABLE_ACCESS_LOG = True
AXES_ENABLE_ADMIN = False  # config/admin.py does it, with a trail
AXES_VERBOSE = False

# Read from the cache; without it, from the database as if there were none.
SESSION_ENGINE = "django.contrib.sessions.backends.cached_db"
SESSION_COOKIE_AGE = 12 * 3600  # a shift and its hand-over
SESSION_COOKIE_SAMESITE = "Lax"

# What the browser may do

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "object-src": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"

HTTPS = BASE_ADDRESS.startswith("https://")
BEHIND_PROXY = environment.flag("BEHIND_PROXY")
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
SECURE_HSTS_SECONDS = 30 * 24 * 3600 if HTTPS else 0
SILENCED_SYSTEM_CHECKS = [
    # Other names under this one, and the browsers' list of names that are https only,
    # are for whoever owns the domain to decide.
    "security.W005",
    "security.W021",
]
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_SSL_REDIRECT = HTTPS
    SECURE_REDIRECT_EXEMPT = [r"^alive$"]  # for a monitor on this machine
    # Else all people would have the proxy's address, and one who guesses wrong on
    # purpose would lock out a colleague.
    AXES_CLIENT_IP_CALLABLE = "config.middleware.address_behind_proxy"

# What may be sent. The longest forms record a hundred tasks with their steps, or spread
# a routine over every robot of a plant; no form has a file.
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5_000
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000  # bytes
FILE_UPLOAD_HANDLERS = ["config.uploads.NoFiles"]

# Served straight from the apps' folders, so there is no step between a checkout and
# a running site.
STATIC_URL = "static/"
WHITENOISE_USE_FINDERS = True

# Words and times. Templates show plant time: cells.middleware.PlantTime sets it.

LANGUAGE_CODE = "en-gb"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"
USE_THOUSAND_SEPARATOR = False

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        name: {"level": "INFO"} for name in ("cells", "config", "maintenance", "oee")
    },
}
