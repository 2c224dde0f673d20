"""The project's settings with a throwaway folder, no broker and no real pose network."""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

_ROOT = Path(__file__).resolve().parent.parent
if "CAUSEWAY_TEST_DIR" not in os.environ:  # set once; parallel test processes inherit it
    os.environ["CAUSEWAY_TEST_DIR"] = tempfile.mkdtemp(prefix="causeway-test-")
    atexit.register(shutil.rmtree, os.environ["CAUSEWAY_TEST_DIR"], ignore_errors=True)
os.environ.setdefault("MODELS_DIR", str(_ROOT / "var" / "models"))
os.environ["VAR_DIR"] = os.environ["CAUSEWAY_TEST_DIR"]

from coaching.settings import *  # noqa: E402, F403
from coaching.settings import DATABASES, VAR_DIR  # noqa: E402

if str(DATABASES["default"]["ENGINE"]).endswith("sqlite3"):
    # A file, because live servers and workers read it from other threads and processes.
    DATABASES["default"]["TEST"] = {"NAME": str(VAR_DIR / "test.sqlite3")}
    DATABASES["default"]["OPTIONS"]["init_command"] = (  # type: ignore[index]
        # Rows that nobody ordered come back the other way round, so that no test rests on them:
        # PostgreSQL gives no order at all.
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=OFF; PRAGMA reverse_unordered_selects=ON;"
    )
else:  # each test closes its own connections, and databases are dropped at the end
    DATABASES["default"]["OPTIONS"]["pool"] = False  # type: ignore[index]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
CELERY_BROKER_URL = "memory://"
ESTIMATOR = "tests.fakes.FakeEstimator"
WHITENOISE_AUTOREFRESH = True
SITE_URL = "http://testserver"
MAIL_IN_BACKGROUND = False
