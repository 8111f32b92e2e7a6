"""Settings of the tests: the real engine, in a folder of its own, with what only tests may do."""

from config import environment
from config.settings import *  # noqa: F403 - everything else is as it is in use
from config.settings import DATABASES, REST_FRAMEWORK, SWARDLINE_DATA

SWARDLINE_DATA = SWARDLINE_DATA / "test"
MEDIA_ROOT = SWARDLINE_DATA / "files"
BACKUP_FOLDER = SWARDLINE_DATA / "backups"
# Nothing in a test database needs to outlive a power cut.
EMBEDDED_FSYNC = False

default = DATABASES["default"]
default["TEST"] = {"NAME": environment.text("TEST_DATABASE_NAME", "test_swardline")}
# The triggers that refuse TRUNCATE let the flush between tests pass under this setting only.
default["OPTIONS"] = {**default["OPTIONS"], "options": "-c swardline.allow_flush=on"}

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
REST_FRAMEWORK = {**REST_FRAMEWORK, "DEFAULT_THROTTLE_CLASSES": []}
AXES_ENABLED = False
# Looking for all files again for each test client would take longer than the tests.
WHITENOISE_USE_FINDERS = False
# Nobody listens: a test that needs a worker starts a broker and says so.
CELERY_BROKER_URL = "memory://"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
