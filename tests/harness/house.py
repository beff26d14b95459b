"""The house in which a test run lives. It must stand before anything of Django is loaded.

Without DATABASE_URL it is the embedded one: SQLite and the broker from the installed packages. With it (see
tests/run.py) it is the one of production: PostgreSQL and Redis.
"""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ON_POSTGRES = bool(os.environ.get("DATABASE_URL"))
BOTH = bool(os.environ.get("LABQUEUE_TEST_BOTH"))


def prepare() -> None:
    """Give this process a storage folder of its own, with the broker's socket in it, and load Django."""
    storage = Path(tempfile.mkdtemp(prefix="labqueue-test-"))
    atexit.register(shutil.rmtree, storage, ignore_errors=True)
    os.environ["STORAGE_DIR"] = str(storage)
    os.environ["REDIS_URL"] = f"redis+socket://{storage / 'broker.sock'}"
    os.environ["LABQUEUE_ENV"] = "embedded"
    os.environ["DJANGO_SETTINGS_MODULE"] = "labqueue.settings"
    # Playwright keeps an event loop in the main thread; the tests beside it use the database all the same.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    load_django()


def load_django() -> None:
    """With what a test run needs otherwise, and nothing else: where the database lies, and cheap password hashes."""
    import django
    from django.conf import settings

    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher", *settings.PASSWORD_HASHERS]
    if not ON_POSTGRES:
        # A file, and the very one that a worker process with this environment opens.
        database = settings.DATABASES["default"]
        database["TEST"] = {"NAME": database["NAME"]}
    django.setup()
