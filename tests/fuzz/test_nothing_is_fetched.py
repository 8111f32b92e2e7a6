"""No address that a person enters is ever fetched: what can reach out at all is listed here.

OWASP: server-side request forgery needs a program that asks an address somebody else chose.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.db import models

from config.kinds import all_kinds

APPS = ("config", "herd", "feed", "milk")
REACH_OUT = {
    "socket", "http", "urllib.request", "urllib3", "requests", "httpx", "aiohttp", "ftplib",
    "smtplib", "poplib", "imaplib", "telnetlib", "xmlrpc", "paramiko", "boto3", "botocore",
    "webbrowser",
}  # fmt: skip
# Where an address comes from instead, and why it is no sender's.
ALLOWED = {
    "config/embedded/serve.py": "this machine's own port, to see whether it answers",
    "config/embedded/service.py": "whether the database or broker of this machine listens",
    "config/backup/bucket.py": "BACKUP_BUCKET of the environment",
}
OWN_WORDS = {"http": {"HTTPStatus"}, "socket": {"gethostname"}}


def imports(path: Path) -> Iterator[str]:
    """The modules a file imports that can reach out."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            taken = {alias.name for alias in node.names}
            harmless = taken <= OWN_WORDS.get(node.module, set())
            names = set() if harmless else {node.module, *(f"{node.module}.{t}" for t in taken)}
        else:
            continue
        yield from (name for name in names if reaches_out(name))


def reaches_out(name: str) -> bool:
    return any(name == one or name.startswith(f"{one}.") for one in REACH_OUT)


def test_only_these_modules_reach_out() -> None:
    root = settings.BASE_DIR
    found: dict[str, set[str]] = {}
    for app in APPS:
        for path in (root / app).rglob("*.py"):
            if names := set(imports(path)):
                found[str(path.relative_to(root))] = names
    assert found.keys() == ALLOWED.keys(), found


@pytest.mark.parametrize(
    "text", ["import requests", "from urllib import request", "import http.client", "import socket"]
)
def test_a_module_that_does_is_found(text: str, tmp_path: Path) -> None:
    path = tmp_path / "one.py"
    path.write_text(text)
    assert list(imports(path))


def test_no_entry_holds_an_address_that_a_page_would_open() -> None:
    for kind in all_kinds():
        for field in kind.model._meta.fields:
            assert not isinstance(field, models.URLField | models.FileField), (kind.slug, field)
