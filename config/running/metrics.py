"""What programs watch, in the text form of Prometheus (exposition format 0.0.4).

Written by hand: a dozen gauges read at the moment they are asked for, whichever process answers.
"""

import shutil
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import celery
from django.conf import settings
from django.db import connection
from django.db.models import Count

from config import replica
from config.backup.making import last_backup
from config.models import Notice, SealedDay
from config.roles import ROLES
from config.running.checks import database_size
from config.running.jobs import all_jobs
from config.views.health import BROKER_SECONDS, OK, broker_state

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
QUEUE = "celery"
BUSY = """
    SELECT count(*), coalesce(extract(epoch FROM max(now() - xact_start)), 0)
    FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()
"""


@dataclass(frozen=True)
class Gauge:
    """One metric: its name, what it says, and its values by their labels."""

    name: str
    says: str
    values: Iterable[tuple[Mapping[str, str], float]]

    def lines(self) -> Iterator[str]:
        """As the text form wants it; nothing for a metric without values."""
        values = list(self.values)
        if not values:
            return
        yield f"# HELP {self.name} {escaped(self.says)}"
        yield f"# TYPE {self.name} gauge"
        for labels, value in values:
            told = ",".join(f'{key}="{escaped(word, quote=True)}"' for key, word in labels.items())
            name = f"{self.name}{{{told}}}" if told else self.name
            yield f"{name} {number(value)}"


def number(value: float) -> str:
    """A value as short as it can be read back."""
    return str(int(value)) if value == int(value) else repr(float(value))


def escaped(text: str, *, quote: bool = False) -> str:
    """Text with what ends a line or a value taken out of its way."""
    text = text.replace("\\", "\\\\").replace("\n", "\\n")
    return text.replace('"', '\\"') if quote else text


def metrics(now: datetime) -> str:
    """Everything, as text."""
    gauges = [*of_database(), *of_broker(), *of_jobs(now), *of_backup(now), *of_book(now)]
    return "".join(f"{line}\n" for gauge in gauges for line in gauge.lines())


def alone(name: str, says: str, value: float) -> Gauge:
    """A metric without labels."""
    return Gauge(f"swardline_{name}", says, [({}, value)])


def of_database() -> Iterator[Gauge]:
    """Its size, who is connected, and how long somebody has held a transaction open."""
    with connection.cursor() as cursor:
        cursor.execute(BUSY)
        others, oldest = cursor.fetchone()
    yield alone("database_bytes", "Size of the database.", database_size())
    yield alone("database_connections", "Connections besides this one.", others)
    yield alone("oldest_transaction_seconds", "Age of the oldest open transaction.", float(oldest))
    behind = replica.seconds_behind() if replica.is_set() else None
    if behind is not None:
        yield alone("replica_seconds_behind", "How far the replica is behind.", behind)
    usage = shutil.disk_usage(settings.BASE_DIR)
    yield alone("disk_free_bytes", "Room on the disk of this machine.", usage.free)
    yield alone("disk_bytes", "Size of the disk of this machine.", usage.total)


def of_broker() -> Iterator[Gauge]:
    """Whether it answers, and how many jobs wait."""
    there = broker_state() == OK
    yield alone("broker_up", "1 when the broker of the jobs answers.", there)
    waiting = jobs_waiting() if there else None
    if waiting is not None:
        yield alone("jobs_waiting", "Jobs that wait for a worker.", waiting)


def jobs_waiting() -> int | None:
    """How many jobs wait in the queue; None when the broker does not tell."""
    with celery.current_app.connection_for_read(connect_timeout=BROKER_SECONDS) as broker:
        channel: Any = broker
        # A queue that nobody has used yet is not there, which each broker says in its own way.
        unknown: Any = (OSError, *broker.channel_errors, *broker.connection_errors)
        try:
            return int(channel.default_channel.queue_declare(queue=QUEUE, passive=True)[1])
        except unknown:
            return None


def of_jobs(now: datetime) -> Iterator[Gauge]:
    """When each job ran last, how long, how often it should, and whether it failed."""
    jobs = all_jobs(now)
    ran = [(job, job.last) for job in jobs if job.last]
    yield Gauge(
        "swardline_job_every_seconds",
        "How often the clock asks for the job.",
        [({"job": job.task}, job.every.total_seconds()) for job in jobs],
    )
    yield Gauge(
        "swardline_job_age_seconds",
        "Since the last run of the job began.",
        [({"job": job.task}, (now - run.started_at).total_seconds()) for job, run in ran],
    )
    yield Gauge(
        "swardline_job_late",
        "1 when the job should have run again by now.",
        [({"job": job.task}, job.is_late(now)) for job in jobs],
    )
    yield Gauge(
        "swardline_job_failed",
        "1 when the last run of the job ended with an error.",
        [({"job": job.task}, job.has_failed) for job, _ in ran],
    )
    yield Gauge(
        "swardline_job_run_seconds",
        "How long the last run of the job took.",
        [
            ({"job": job.task}, (run.ended_at - run.started_at).total_seconds())
            for job, run in ran
            if run.ended_at
        ],
    )


def of_backup(now: datetime) -> Iterator[Gauge]:
    """The age and size of the last backup; nothing while there is none."""
    last = last_backup(settings.BACKUP_FOLDER)
    yield alone("backup_there", "1 when there is a backup in its folder.", last is not None)
    if last:
        age = (now - last.made_at).total_seconds()
        yield alone("backup_age_seconds", "Since the last backup was made.", age)
        yield alone("backup_bytes", "Size of the last backup.", last.size)


def of_book(now: datetime) -> Iterator[Gauge]:
    """What waits for people, and up to when everything is sealed."""
    counted = Notice.objects.filter(closed_at=None).values("role").annotate(number=Count("pk"))
    notices = {row["role"]: row["number"] for row in counted.order_by("role")}
    yield Gauge(
        "swardline_notices_open",
        "Notices that wait for somebody of the role.",
        [({"role": role}, notices.get(role, 0)) for role in ROLES],
    )
    last = SealedDay.objects.order_by("-day").values_list("day", flat=True).first()
    if last:
        yield alone("sealed_age_days", "Days since the last sealed one.", (now.date() - last).days)
