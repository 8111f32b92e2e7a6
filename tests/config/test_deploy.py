"""What PRODUCTION.md and deploy/ say is what the program reads and systemd takes."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from config import settings as in_use
from config.embedded.keeper import PROJECT

DEPLOY = PROJECT / "deploy"
UNITS = sorted(DEPLOY.glob("*.service"))
READ = re.compile(r'environment\.\w+\(\s*"([A-Z_]+)"')
# For tests, and for a try on one machine.
NOT_PRODUCTION = {"PORT"}


def settings_read() -> set[str]:
    """The names that the settings read from the environment."""
    return set(READ.findall((PROJECT / "config" / "settings.py").read_text(encoding="utf-8")))


@pytest.mark.parametrize("unit", UNITS, ids=[path.stem for path in UNITS])
def test_systemd_takes_the_units(unit: Path, tmp_path: Path) -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("there is no systemd-analyze here")
    here = tmp_path / unit.name
    # It wants the program to be there.
    text = unit.read_text(encoding="utf-8")
    here.write_text(text.replace("/opt/swardline/.venv/bin/python", sys.executable))

    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", here], capture_output=True, text=True, check=False
    )

    assert (done.returncode, done.stderr) == (0, "")


def test_caddy_takes_its_file(tmp_path: Path) -> None:
    if shutil.which("caddy") is None:
        pytest.skip("there is no caddy here (apt install caddy)")
    command = ["caddy", "validate", "--adapter", "caddyfile", "--config", DEPLOY / "Caddyfile"]
    environment = {**os.environ, "HOME": str(tmp_path)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    written = subprocess.run(
        ["caddy", "fmt", DEPLOY / "Caddyfile"], capture_output=True, text=True, check=False
    )
    assert written.stdout == (DEPLOY / "Caddyfile").read_text(encoding="utf-8")


def test_the_page_names_every_setting_and_no_other() -> None:
    page = (PROJECT / "PRODUCTION.md").read_text(encoding="utf-8")
    rows = [line.split("|")[1] for line in page.splitlines() if line.startswith("| `")]
    named = {name for row in rows for name in re.findall(r"`([A-Z_]+)`", row)}

    assert len(settings_read()) > 20
    assert settings_read() - NOT_PRODUCTION - {"SWARDLINE_ENV"} == named


def test_the_example_gives_settings_that_exist_and_all_that_are_needed() -> None:
    lines = (DEPLOY / "environment.example").read_text(encoding="utf-8").splitlines()
    given = {line.partition("=")[0] for line in lines if line and not line.startswith("#")}

    assert given <= settings_read()
    assert {"SECRET_KEY", "ALLOWED_HOSTS", "DATABASE_URL", "CELERY_BROKER_URL"} <= given
    assert "SECRET_KEY=" in lines, "no secret in the repository"


def test_the_units_start_what_is_there() -> None:
    text = "".join(path.read_text(encoding="utf-8") for path in UNITS)
    assert "config.wsgi:application" in text
    assert text.count("-A config.celery") == 2
    assert text.count("User=swardline") == len(UNITS) == 3


def test_what_root_gathers_the_service_can_read(tmp_path: Path, settings: Any) -> None:
    # Files that people send in are for the service alone; those of the program are not.
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STORAGES = {**settings.STORAGES, "staticfiles": in_use.STORAGES["staticfiles"]}
    settings.WHITENOISE_USE_FINDERS = True
    before = os.umask(0o077)
    try:
        call_command("collectstatic", interactive=False, verbosity=0)
    finally:
        os.umask(before)
    gathered = list((tmp_path / "static").rglob("*"))
    assert len(gathered) > 20
    assert [path for path in gathered if not path.stat().st_mode & 0o004] == []
