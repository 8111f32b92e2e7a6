"""Copies of backups at an S3-style address: ``s3://bucket/folder``, on whatever server speaks it.

The dump goes first, is read back and summed, then its manifest: as in a folder, a backup without a
manifest counts as none. Needs boto3 (requirements-s3.txt), which signs, sends in parts and tries
again.
"""

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import boto3
from boto3.exceptions import Boto3Error
from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError
from django.conf import settings

from config.backup import MANIFEST, BackupError, manifest_of
from config.backup.files import CHUNK, Manifest, moment_of
from config.backup.rotation import kept

LOOPBACK = ("localhost", "127.", "[::1]")

NOT_SAFE = (
    "BACKUP_S3_ENDPOINT is {endpoint}: a backup holds everything and only travels encrypted. "
    "Expected an address that begins with https://."
)
NO_KEY = "BACKUP_S3_KEY and BACKUP_S3_SECRET must be set for a copy to {place}."
FAILED = "The copy to {place} failed: {why}"
OTHER_BYTES = "what was read back is not what was written"
NOT_FETCHED = "{place} cannot be fetched: {why}"


def parts_of(place: str) -> tuple[str, str]:
    """Bucket and the beginning of the names in it: "s3://b/a" is ("b", "a/")."""
    bucket, _, folder = place.removeprefix("s3://").partition("/")
    folder = folder.strip("/")
    return bucket, f"{folder}/" if folder else ""


def client_for(place: str) -> Any:
    """A client of the server of the settings. Raises BackupError for settings that do not do."""
    endpoint = settings.BACKUP_S3_ENDPOINT
    if endpoint:
        url = urlsplit(endpoint)
        if url.scheme != "https" and not url.netloc.startswith(LOOPBACK):
            raise BackupError(NOT_SAFE.format(endpoint=endpoint))
    if not (settings.BACKUP_S3_KEY and settings.BACKUP_S3_SECRET):
        raise BackupError(NO_KEY.format(place=place))
    return boto3.client(
        "s3",
        endpoint_url=endpoint or None,
        region_name=settings.BACKUP_S3_REGION,
        aws_access_key_id=settings.BACKUP_S3_KEY,
        aws_secret_access_key=settings.BACKUP_S3_SECRET,
        config=Config(
            signature_version="s3v4",
            # Servers other than the first one know neither names of buckets before their own name
            # nor the newer check sums; what was sent is read back anyway.
            s3={"addressing_style": "path"},
            request_checksum_calculation="when_required",
            response_checksum_validation="when_required",
            retries={"max_attempts": 4, "mode": "standard"},
            connect_timeout=10,
            read_timeout=60,
        ),
    )


@contextmanager
def words(place: str, sentence: str) -> Iterator[None]:
    """Turn what the server or the way to it says into a BackupError."""
    try:
        yield
    except (BotoCoreError, ClientError, Boto3Error, OSError) as error:
        raise BackupError(sentence.format(place=place, why=error)) from error


def copy_to(place: str, dump: Path, manifest: Manifest) -> None:
    """Copy a backup there and read the copy back. Raises BackupError; nothing half counts."""
    bucket, folder = parts_of(place)
    key = f"{folder}{dump.name}"
    client = client_for(place)
    with words(place, FAILED):
        client.upload_file(os.fspath(dump), bucket, key)
        if sum_of(client, bucket, key) != manifest.sha256:
            client.delete_object(Bucket=bucket, Key=key)
            raise BackupError(FAILED.format(place=place, why=OTHER_BYTES))
        beside = manifest_of(dump)
        client.put_object(Bucket=bucket, Key=f"{folder}{beside.name}", Body=beside.read_bytes())


def sum_of(client: Any, bucket: str, key: str) -> str:
    """The SHA-256 of what lies there, read piece by piece."""
    digest = hashlib.sha256()
    for piece in client.get_object(Bucket=bucket, Key=key)["Body"].iter_chunks(CHUNK):
        digest.update(piece)
    return digest.hexdigest()


def backups_in(client: Any, bucket: str, folder: str) -> dict[datetime, str]:
    """The backups there by when they were made, each with a manifest beside it: name of its dump.

    Names further below (``a/b`` under ``a``) are another folder's.
    """
    pages = client.get_paginator("list_objects_v2").paginate(
        Bucket=bucket, Prefix=folder, Delimiter="/"
    )
    names = {one["Key"].removeprefix(folder) for page in pages for one in page.get("Contents", ())}
    dated = {moment_of(name): name for name in names}
    return {
        moment: name
        for moment, name in dated.items()
        if moment and f"{name.rpartition('.')[0]}{MANIFEST}" in names
    }


def rotate(place: str, *, daily: int, weekly: int, monthly: int) -> list[str]:
    """Remove the backups that need not stay; their names. Other files are left alone."""
    bucket, folder = parts_of(place)
    client = client_for(place)
    with words(place, FAILED):
        there = backups_in(client, bucket, folder)
        stay = kept(there, daily=daily, weekly=weekly, monthly=monthly)
        gone = [name for moment, name in sorted(there.items()) if moment not in stay]
        for name in gone:
            client.delete_object(Bucket=bucket, Key=f"{folder}{name}")
            beside = f"{folder}{name.rpartition('.')[0]}{MANIFEST}"
            client.delete_object(Bucket=bucket, Key=beside)
    return gone


def fetch(place: str, into: Path) -> Path:
    """Fetch a dump (``s3://bucket/folder/name.dump``) and its manifest; where the dump lies now.

    ``into`` is a folder that nobody else can enter. Raises BackupError.
    """
    bucket, _ = parts_of(place)
    key = place.removeprefix(f"s3://{bucket}/")
    dump = into / key.rpartition("/")[2]
    client = client_for(place)
    with words(place, NOT_FETCHED):
        for path in (manifest_of(dump), dump):
            beside = f"{key.rpartition('/')[0]}/{path.name}".lstrip("/")
            client.download_file(bucket, beside, os.fspath(path))
            path.chmod(0o600)
    return dump
