"""Start the fault drills: ``python -m tests.drills --kills 1000 --cuts 1000 [--keep]``.

Settings are read when Django starts, and who checks reads the database past every line: so the
addresses are set here first.
"""

import os
import shutil
import sys
from importlib import import_module
from pathlib import Path

import django

from config.embedded.postgres import USER, Postgres
from tests.drills.options import options_of

given = options_of(sys.argv[1:])
folder: Path = given.folder
# Each run begins with nothing, the key of the installation included.
shutil.rmtree(folder, ignore_errors=True)
sockets = Postgres().socket_path(folder).parent
os.environ["SWARDLINE_DATA"] = os.fspath(folder)
os.environ["DATABASE_URL"] = f"postgresql://{USER}@/swardline?host={sockets}"
# Nobody listens yet when the book is written.
os.environ["CELERY_BROKER_URL"] = "memory://"
os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"
django.setup()
sys.exit(import_module("tests.drills.faults").main(given))
