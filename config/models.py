"""What the frame itself keeps: files taken in, notices, runs of jobs, answers already given."""

from datetime import timedelta
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _l

from config.access.models import (
    AccessEvent,
    Guesses,
    MachineToken,
    OneTimeCode,
    Pin,
    RecoveryCode,
    Session,
    SharedPhone,
)
from config.entries import keep_rows
from config.triggers import never_changed

__all__ = [
    "AccessEvent",
    "ClockCorrection",
    "Guesses",
    "JobRun",
    "MachineToken",
    "Notice",
    "Once",
    "OneTimeCode",
    "Pin",
    "RecoveryCode",
    "SealedDay",
    "Session",
    "SharedPhone",
    "Upload",
]


class Upload(models.Model):
    """A file that was taken in, kept as it came."""

    kind = models.CharField(max_length=32)
    name = models.CharField(_l("file name"), max_length=255)
    sha256 = models.CharField(max_length=64)
    size = models.BigIntegerField(_l("size in bytes"))
    content = models.BinaryField()
    options = models.JSONField(default=dict)
    taken_at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    counts = models.JSONField(default=dict)

    class Meta:
        # The same file with the same options a second time is a re-load and changes nothing.
        indexes = [models.Index(fields=["sha256"], name="config_upload_sha256")]
        triggers = keep_rows()

    def __str__(self) -> str:
        return f"{self.name} ({self.kind}, {self.taken_at:%Y-%m-%d %H:%M})"


class Notice(models.Model):
    """Something a named role must do now; it closes by itself when its cause is gone."""

    cause = models.CharField(max_length=200)
    role = models.CharField(max_length=20)
    what = models.CharField(max_length=400)
    where = models.CharField(max_length=200, blank=True)
    otherwise = models.CharField(_l("what happens if not"), max_length=400, blank=True)
    url = models.CharField(max_length=200, blank=True)
    until = models.DateTimeField(null=True, blank=True)
    raised_at = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            # Same cause, one notice: eleven vats from one lot ring once.
            models.UniqueConstraint(
                fields=["cause", "role"],
                condition=models.Q(closed_at=None),
                name="config_notice_one_open_per_cause",
            )
        ]
        indexes: ClassVar = [
            # For the sheet of a role: only what is open.
            models.Index(
                fields=["role", "until"],
                condition=models.Q(closed_at=None),
                name="config_notice_open",
            )
        ]

    def __str__(self) -> str:
        return self.what


class JobRun(models.Model):
    """One run of a background job: when, how many it looked at, and what went wrong."""

    name = models.CharField(max_length=100)
    started_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)
    counted = models.JSONField(default=dict)
    error = models.TextField(blank=True)

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["name", "-started_at"], name="config_jobrun_last")
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.started_at:%Y-%m-%d %H:%M:%S}"


class JobClaim(models.Model):
    """Which message of the clock a job is worked on for, so that one worker of many does it.

    Written by single statements of config/claims.py, on the database's own clock.
    """

    name = models.CharField(max_length=100, unique=True)
    task_id = models.CharField(max_length=64)
    taken_at = models.DateTimeField()
    until = models.DateTimeField("kept for this message until")

    def __str__(self) -> str:
        return f"{self.name} {self.taken_at:%Y-%m-%d %H:%M:%S}"


class LastWrite(models.Model):
    """Up to where in the log of the database a person has written (config/replica.py).

    ``position``: bytes of the write-ahead log, as a whole number.
    """

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, primary_key=True, related_name="+"
    )
    position = models.BigIntegerField("position in the log, in bytes")

    def __str__(self) -> str:
        return f"{self.person_id} {self.position}"


class Once(models.Model):
    """The first answer to a write, kept under the key its sender gave it."""

    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    key = models.CharField(max_length=64)
    fingerprint = models.CharField(_l("sha256 of method, path and body"), max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    body = models.JSONField(null=True)
    location = models.CharField(max_length=400, blank=True)
    received_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["by", "key"], name="config_once_one_answer_per_key")
        ]

    def __str__(self) -> str:
        return self.key


class SealedDay(models.Model):
    """The seal of one day of UTC over everything that arrived on it (see config/seals/).

    ``parts``: by kind the number of lines, their sum and the columns they were made of; ``marks``:
    the beginning of each line's sum, kind after kind, to tell which line was changed.
    """

    day = models.DateField(unique=True)
    before = models.CharField("head of the day before", max_length=64)
    head = models.CharField(max_length=64)
    lines = models.PositiveIntegerField()
    parts = models.JSONField()
    marks = models.BinaryField()
    sealed_at = models.DateTimeField()

    class Meta:
        triggers = [*keep_rows(), never_changed()]

    def __str__(self) -> str:
        return f"{self.day} {self.head}"


class ClockCorrection(models.Model):
    """The clock of a phone was wrong when something was written; its times were put right.

    It belongs to the entries with the same writer, device and moment of writing.
    """

    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    device = models.CharField(max_length=64)
    written_at = models.DateTimeField(_l("written at, put right"))
    seconds = models.IntegerField(_l("added to the phone's times, in seconds"))
    received_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["by", "device", "written_at"], name="config_clock_one_per_writing"
            )
        ]
        triggers = keep_rows()

    def __str__(self) -> str:
        return f"{self.device}, {self.seconds} s"

    @property
    def shift(self) -> timedelta:
        """What was added to the phone's times."""
        return timedelta(seconds=self.seconds)
