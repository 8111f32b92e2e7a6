"""Copies of backups at an S3-style address, against a server that speaks it and checks signatures.

The server is moto's, a program of its own over HTTP: it holds each signature (AWS Signature Version
4) against the secret of whoever signed.
"""

import json
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import boto3
import pytest
from django.core.management import CommandError, call_command

from config.backup import BackupError, bucket, files, making, manifest_of
from config.backup.files import Manifest
from config.backup.making import NO_BOTO3
from tests.brokers import free_port, running, says

HOST = "127.0.0.6"
REGION = "eu-central-1"
PLACE = "s3://copies/larkfold/book"
KEPT = {"daily": 2, "weekly": 1, "monthly": 1}
NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
# What may be asked without a signature: the four statements that make the account below.
UNSIGNED = 4


@dataclass(frozen=True)
class Server:
    endpoint: str
    key: str
    secret: str

    def client(self, service: str = "s3") -> Any:
        return boto3.client(
            service,
            endpoint_url=self.endpoint,
            region_name=REGION,
            aws_access_key_id=self.key,
            aws_secret_access_key=self.secret,
        )

    def names(self) -> list[str]:
        found = self.client().list_objects_v2(Bucket="copies").get("Contents", [])
        return [one["Key"] for one in found]


@pytest.fixture(scope="module")
def speaks_s3(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    port = free_port(HOST)
    command = [sys.executable, "-m", "moto.server", "-H", HOST, "-p", str(port)]
    asked = b"GET /moto-api/ HTTP/1.0\r\n\r\n"
    place = tmp_path_factory.mktemp("s3")
    environment = {"INITIAL_NO_AUTH_ACTION_COUNT": str(UNSIGNED)}
    with running(command, place, lambda: says((HOST, port), asked, b"HTTP/1."), environment):
        endpoint = f"http://{HOST}:{port}"
        first = Server(endpoint, "nobody", "nothing")
        iam = first.client("iam")
        iam.create_user(UserName="book")
        key = iam.create_access_key(UserName="book")["AccessKey"]
        everything = {"Effect": "Allow", "Action": "s3:*", "Resource": "*"}
        policy = {"Version": "2012-10-17", "Statement": [everything]}
        iam.put_user_policy(UserName="book", PolicyName="all", PolicyDocument=json.dumps(policy))
        where = {"LocationConstraint": REGION}
        first.client().create_bucket(Bucket="copies", CreateBucketConfiguration=where)
        yield Server(endpoint, key["AccessKeyId"], key["SecretAccessKey"])


@pytest.fixture
def server(speaks_s3: Server, settings: Any) -> Iterator[Server]:
    settings.BACKUP_S3_ENDPOINT = speaks_s3.endpoint
    settings.BACKUP_S3_REGION = REGION
    settings.BACKUP_S3_KEY = speaks_s3.key
    settings.BACKUP_S3_SECRET = speaks_s3.secret
    yield speaks_s3
    for name in speaks_s3.names():
        speaks_s3.client().delete_object(Bucket="copies", Key=name)


def dumped(folder: Path, at: datetime, content: bytes = b"the book") -> tuple[Path, Manifest]:
    """A file under a backup's name with a manifest that fits it."""
    path = folder / f"swardline-{at.strftime(files.MOMENT)}.dump"
    path.write_bytes(content)
    holds = {"server": 18, "tables": {}, "kinds": {}, "newest_entry": "", "migrations": {}}
    told = {
        "file": path.name,
        "made_at": at.isoformat(),
        "size": len(content),
        "sha256": files.sum_of(path),
        "program": 18,
        "holds": holds,
    }
    manifest_of(path).write_text(json.dumps(told))
    return path, files.read_manifest(path)


def test_a_copy_lies_there_whole_with_its_manifest_and_comes_back(server, tmp_path: Path) -> None:
    # More than one part of what is sent in parts (8 MiB each).
    content = os.urandom(1 << 20) * 9
    path, manifest = dumped(tmp_path, NOON, content)
    bucket.copy_to(PLACE, path, manifest)
    stem = "larkfold/book/swardline-20260603T120000Z"
    assert server.names() == [f"{stem}.dump", f"{stem}.json"]

    fetched = tmp_path / "fetched"
    fetched.mkdir()
    back = bucket.fetch(f"s3://copies/{stem}.dump", fetched)
    assert back.read_bytes() == content
    assert files.checked(back) == manifest
    assert back.stat().st_mode & 0o077 == 0


def test_a_copy_that_is_not_what_was_sent_does_not_stay(server, tmp_path: Path) -> None:
    path, manifest = dumped(tmp_path, NOON)
    path.write_bytes(b"changed under the hand")
    with pytest.raises(BackupError, match="not what was written"):
        bucket.copy_to(PLACE, path, manifest)
    assert server.names() == []


def test_old_copies_go_by_days_weeks_and_months_and_nothing_else(server, tmp_path: Path) -> None:
    for days in range(5):
        path, manifest = dumped(tmp_path, NOON - timedelta(days=days))
        bucket.copy_to(PLACE, path, manifest)
    put = server.client().put_object
    for name in ("larkfold/book/notes.txt", "larkfold/book/old/swardline-20200101T000000Z.dump"):
        put(Bucket="copies", Key=name, Body=b"somebody's")
    # A dump without a manifest is not whole yet: perhaps it is being sent.
    put(Bucket="copies", Key="larkfold/book/swardline-20260101T000000Z.dump", Body=b"half")

    gone = bucket.rotate(PLACE, **KEPT)

    # The newest of week and month is one of the two newest days.
    assert gone == [f"swardline-2026{day}T120000Z.dump" for day in ("0530", "0531", "0601")]
    left = [name.removeprefix("larkfold/book/") for name in server.names()]
    newest = ["swardline-20260602T120000Z", "swardline-20260603T120000Z"]
    assert [name for name in left if name.startswith("swardline-202606")] == [
        f"{stem}.{ending}" for stem in newest for ending in ("dump", "json")
    ]
    assert {"notes.txt", "old/swardline-20200101T000000Z.dump"} <= set(left)
    assert "swardline-20260101T000000Z.dump" in left


@pytest.mark.parametrize(
    ("name", "value", "why"),
    [
        ("BACKUP_S3_SECRET", "not the secret", "SignatureDoesNotMatch"),
        ("BACKUP_S3_KEY", "nobody", "InvalidAccessKeyId"),
        ("BACKUP_S3_ENDPOINT", f"http://{HOST}:9", "Could not connect"),
        ("BACKUP_S3_ENDPOINT", "http://s3.example", "begins with https://"),
        ("BACKUP_S3_SECRET", "", "must be set"),
    ],
)
def test_what_is_refused_is_said_without_the_secret(
    server, settings, tmp_path: Path, name: str, value: str, why: str
) -> None:
    setattr(settings, name, value)
    path, manifest = dumped(tmp_path, NOON)
    with pytest.raises(BackupError, match=why) as refused:
        bucket.copy_to(PLACE, path, manifest)
    assert server.secret not in str(refused.value)


def test_a_bucket_that_is_not_there_is_told(server, tmp_path: Path) -> None:
    path, manifest = dumped(tmp_path, NOON)
    with pytest.raises(BackupError, match="NoSuchBucket"):
        bucket.copy_to("s3://nowhere/x", path, manifest)
    with pytest.raises(BackupError, match="cannot be fetched"):
        bucket.fetch("s3://copies/larkfold/none.dump", tmp_path)


@pytest.mark.parametrize(
    ("place", "parts"),
    [
        ("s3://copies", ("copies", "")),
        ("s3://copies/", ("copies", "")),
        ("s3://copies/a/b/", ("copies", "a/b/")),
    ],
)
def test_bucket_and_folder(place: str, parts: tuple[str, str]) -> None:
    assert bucket.parts_of(place) == parts


def test_without_boto3_it_is_said_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "config.backup.bucket", None)
    with pytest.raises(BackupError, match="requirements-s3"):
        making.bucket()
    assert "pip install" in NO_BOTO3


@pytest.mark.django_db(transaction=True)
def test_the_backup_of_the_day_goes_there_and_is_restored_from_there(
    server, settings, tmp_path: Path, capsys
) -> None:
    settings.BACKUP_COPIES = [PLACE, tmp_path / "not attached"]
    with pytest.raises(CommandError, match="is the disk attached"):
        call_command("backup", to=tmp_path / "here")
    assert f"Copied to {PLACE} and read back." in capsys.readouterr().out
    (dump, manifest) = server.names()
    assert dump.endswith(".dump")
    # What is there already is never mixed with it; that much of it was fetched and looked at.
    with pytest.raises(CommandError, match="is not empty"):
        call_command("restore", f"s3://copies/{dump}")
    damaged = server.client()
    damaged.put_object(Bucket="copies", Key=dump, Body=b"cut off")
    with pytest.raises(CommandError, match="cut off or was changed"):
        call_command("restore", f"s3://copies/{dump}")
