"""Backups: the whole book in one file, with a manifest beside it that says what is in it.

A backup is a dump by PostgreSQL's own program and a JSON file with its size, its sum, and what the
tables held at that very moment. Whoever restores it counts again and holds the one against the
other.
"""

from pathlib import Path


class BackupError(RuntimeError):
    """A backup or a restore cannot be had; the words say why and what to do."""


STEM = "swardline-"
DUMP, MANIFEST = ".dump", ".json"


def manifest_of(dump: Path) -> Path:
    """The manifest that lies beside a dump."""
    return dump.with_suffix(MANIFEST)
