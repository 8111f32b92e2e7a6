"""The folder of backups: dumps with their manifests, which stay and which go, copies elsewhere."""

import contextlib
import fcntl
import hashlib
import json
import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from config.backup import DUMP, STEM, BackupError, manifest_of
from config.backup.counting import Counted
from config.backup.rotation import kept

NAME = re.compile(rf"{STEM}(\d{{8}}T\d{{6}}Z){re.escape(DUMP)}")
MOMENT = "%Y%m%dT%H%M%SZ"
CHUNK = 1 << 20
LAYOUT = 1

NO_FILE = "There is no file {path}."
NO_MANIFEST = "Beside {path} there is no {manifest}: without it nobody can tell what must be in it."
BAD_MANIFEST = "{path} is no manifest of a backup ({why}). Use another backup."
WRONG_SIZE = "{path} has {found} bytes and must have {expected}: it is cut off or was changed."
WRONG_SUM = "{path} is damaged: its SHA-256 is {found} and must be {expected}. Use another copy."
NO_COPY_FOLDER = "There is no folder {path} for the copy: is the disk attached?"
NOT_COPIED = "The copy to {path} failed: {why}"
UNDER_WAY = "Another backup into {path} is under way. Wait for it to end."
NOT_OURS = "{path} cannot be written: {why}. Set BACKUP_FOLDER to a folder of this account."


@dataclass(frozen=True)
class Manifest:
    """What lies in a dump. ``made_at``: when the snapshot was taken; ``size`` in bytes."""

    file: str
    made_at: datetime
    size: int
    sha256: str
    program: int
    holds: Counted

    def as_dict(self) -> dict[str, Any]:
        return {
            "layout": LAYOUT,
            "file": self.file,
            "made_at": self.made_at.isoformat(),
            "size": self.size,
            "sha256": self.sha256,
            "program": self.program,
            "holds": self.holds.as_dict(),
        }


def read_manifest(dump: Path) -> Manifest:
    """The manifest beside a dump. Raises BackupError."""
    path = manifest_of(dump)
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return Manifest(
            file=str(told["file"]),
            made_at=datetime.fromisoformat(told["made_at"]),
            size=int(told["size"]),
            sha256=str(told["sha256"]),
            program=int(told["program"]),
            holds=Counted.from_dict(told["holds"]),
        )
    except FileNotFoundError:
        raise BackupError(NO_MANIFEST.format(path=dump, manifest=path.name)) from None
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        why = f"{type(error).__name__}: {error}"
        raise BackupError(BAD_MANIFEST.format(path=path, why=why)) from error


def checked(dump: Path) -> Manifest:
    """The manifest of a dump whose bytes are what it says. Raises BackupError."""
    if not dump.is_file():
        raise BackupError(NO_FILE.format(path=dump))
    manifest = read_manifest(dump)
    size = dump.stat().st_size
    if size != manifest.size:
        raise BackupError(WRONG_SIZE.format(path=dump, found=size, expected=manifest.size))
    found = sum_of(dump)
    if found != manifest.sha256:
        raise BackupError(WRONG_SUM.format(path=dump, found=found, expected=manifest.sha256))
    return manifest


def sum_of(path: Path) -> str:
    """The SHA-256 of a file, read piece by piece."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def made_folder(folder: Path) -> Path:
    """The folder, which only this account can enter when it is made here. Raises BackupError."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise BackupError(NOT_OURS.format(path=folder, why=error.strerror)) from error
    return folder


@contextlib.contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Keep other backups out of a folder for a while. Raises BackupError when one is under way."""
    try:
        lock = (folder / ".lock").open("a")
    except OSError as error:
        raise BackupError(NOT_OURS.format(path=folder, why=error.strerror)) from error
    with lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise BackupError(UNDER_WAY.format(path=folder)) from None
        yield


def is_under_way(folder: Path) -> bool:
    """Whether a backup into this folder is being made at this moment."""
    if not (folder / ".lock").exists():
        return False
    try:
        with alone_in(folder):
            return False
    except BackupError:
        return True


def moment_of(name: str) -> datetime | None:
    """When the backup of this file name was made; None for another file."""
    match = NAME.fullmatch(name)
    try:
        return datetime.strptime(match[1], MOMENT).replace(tzinfo=UTC) if match else None
    except ValueError:
        return None


def backups_in(folder: Path) -> dict[datetime, Path]:
    """The backups of a folder by when they were made: whole ones, a manifest beside each."""
    try:
        there = list(folder.iterdir())
    except OSError:
        return {}
    dated = {moment_of(path.name): path for path in there}
    return {moment: path for moment, path in dated.items() if moment and manifest_of(path).exists()}


def rotate(folder: Path, *, daily: int, weekly: int, monthly: int) -> list[Path]:
    """Remove the backups that need not stay; which. Other files are left alone."""
    there = backups_in(folder)
    stay = kept(there, daily=daily, weekly=weekly, monthly=monthly)
    gone = [path for moment, path in sorted(there.items()) if moment not in stay]
    for path in gone:
        # The dump goes first: a manifest alone counts as no backup, a dump alone would be no use.
        path.unlink(missing_ok=True)
        manifest_of(path).unlink(missing_ok=True)
    return gone


def write_whole(path: Path, text: str) -> None:
    """Write a file so that by its name it is whole or not there, also after a power cut."""
    part = path.with_name(f"{path.name}.part")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    part.rename(path)
    settle(path.parent)


def settle(path: Path) -> None:
    """Have the disk keep what was written under this path."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def copy_to(folder: Path, dump: Path, manifest: Manifest) -> None:
    """Copy a backup elsewhere and read the copy back. Raises BackupError; nothing half is left."""
    if not folder.is_dir():
        raise BackupError(NO_COPY_FOLDER.format(path=folder))
    part = folder / f"{dump.name}.part"
    try:
        shutil.copyfile(dump, part)
        part.chmod(0o600)
        settle(part)
        if sum_of(part) != manifest.sha256:
            raise BackupError(
                NOT_COPIED.format(path=folder, why="what was read back is not what was written")
            )
        part.rename(folder / dump.name)
        write_whole(folder / manifest_of(dump).name, manifest_of(dump).read_text(encoding="utf-8"))
    except OSError as error:
        raise BackupError(NOT_COPIED.format(path=folder, why=error.strerror or error)) from error
    finally:
        part.unlink(missing_ok=True)
