"""What is looked at, and what is said of it in plain words."""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db import connection
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from config import replica
from config.backup.making import last_backup
from config.days import local
from config.models import SealedDay
from config.running.jobs import Job, all_jobs
from config.views.health import OK, broker_state

# The day's backup comes once its hour has struck; half a day more is no longer the same night.
BACKUP_AT_MOST = timedelta(hours=36)
SEAL_AT_MOST = timedelta(days=2)
# Common practice: below this a PostgreSQL server is in danger of standing still.
DISK_AT_LEAST = 0.1
# House judgement: reads went to the first server long before.
REPLICA_AT_MOST = 300


@dataclass(frozen=True, kw_only=True)
class Check:
    """One thing that was looked at. ``key``: its name for notices; ``act``: what to do, if any.

    ``waits``: it is well so far, but has not happened yet.
    """

    key: str
    name: str
    says: str
    act: str = ""
    waits: bool = False

    @property
    def is_well(self) -> bool:
        return not self.act


def all_checks(now: datetime) -> list[Check]:
    """Everything, what is not well first."""
    return well_last([broker(), *follower(), *quick_checks(now)])


def quick_checks(now: datetime) -> list[Check]:
    """What is answered in three statements and without waiting, what is not well first.

    A broker that is away costs a second or two; its jobs then are late, which is among this.
    """
    return well_last([disk(), backup(now), *seals(now), *map_jobs(now)])


def well_last(found: list[Check]) -> list[Check]:
    """What is not well first, else in the same order."""
    return sorted(found, key=lambda check: check.is_well)


def map_jobs(now: datetime) -> Iterator[Check]:
    """The jobs of the clock; when nothing ever ran, that is said once."""
    jobs = all_jobs(now)
    if all(job.last is None for job in jobs):
        yield Check(
            key="jobs",
            name=_("Background jobs"),
            says=_("No job has run yet."),
            act=_("If this stays so for a quarter of an hour, start worker and clock."),
        )
        return
    yield from (of_job(job, now) for job in jobs)


def of_job(job: Job, now: datetime) -> Check:
    """What is said of one job."""
    name = capfirst(_(job.name))
    age = job.age(now)
    says = ran(age)
    act = ""
    if job.is_late(now):
        says = _("%(says)s, and should run every %(every)s") % {
            "says": says,
            "every": span(job.every),
        }
        act = _("Look whether worker and clock run, and start them.")
    elif job.hangs(now):
        says = _("began %(ago)s ago and has not ended") % {"ago": span(age)}
        act = _("Its worker died or hangs: start the worker again.")
    elif job.has_failed and job.last:
        says = _("%(says)s and failed: %(error)s") % {"says": says, "error": job.last.error[:200]}
        act = _(
            "It tries again by itself; when it keeps failing, show this to whoever looks after "
            "the server."
        )
    return Check(key=f"job:{job.task}", name=name, says=f"{says}.", act=act, waits=job.last is None)


def ran(age: timedelta | None) -> str:
    """When a job ran, in words."""
    if age is None:
        return _("has not run yet")
    if age < timedelta(minutes=1):
        return _("ran just now")
    return _("ran %(ago)s ago") % {"ago": span(age)}


def broker() -> Check:
    """Whether jobs can be asked for."""
    name = _("Broker of the jobs")
    if broker_state() == OK:
        return Check(key="broker", name=name, says=_("answers."))
    return Check(
        key="broker",
        name=name,
        says=_("does not answer: entries are kept, alarms come late."),
        act=_("Start the broker (Redis or Valkey) again."),
    )


def follower() -> Iterator[Check]:
    """Whether the replica follows; nothing to say where there is none."""
    if not replica.is_set():
        return
    name = _("Replica of the database")
    behind = replica.seconds_behind()
    if behind is None:
        says = _("does not answer, or follows nobody: every page is read from the first server.")
        act = _("Look whether it runs and receives the log.")
        yield Check(key="replica", name=name, says=says, act=act)
        return
    act = "" if behind <= REPLICA_AT_MOST else _("Look why it does not keep up.")
    says = _("%(ago)s behind.") % {"ago": span(timedelta(seconds=behind))}
    yield Check(key="replica", name=name, says=says, act=act)


def disk() -> Check:
    """The room on the disk where this machine keeps its data."""
    there = settings.SWARDLINE_DATA
    usage = shutil.disk_usage(there if there.exists() else settings.BASE_DIR)
    share = usage.free / usage.total
    says = _("%(free)s free of %(total)s (%(share)s %%).") % {
        "free": size(usage.free),
        "total": size(usage.total),
        "share": round(share * 100),
    }
    act = "" if share >= DISK_AT_LEAST else _("Make room before the disk is full.")
    return Check(key="disk", name=_("Disk of this machine"), says=says, act=act)


def backup(now: datetime) -> Check:
    """How old the last backup is that lies in its folder in full."""
    last = last_backup(settings.BACKUP_FOLDER)
    name = _("Last backup")
    if last is None:
        return Check(
            key="backup",
            name=name,
            says=_("there is none."),
            act=_("Run “manage.py backup”, and see that worker and clock run."),
        )
    age = now - last.made_at
    says = _("%(when)s, %(ago)s ago, %(size)s, %(entries)s entries.") % {
        "when": local(last.made_at),
        "ago": span(age),
        "size": size(last.size),
        "entries": f"{last.holds.entries:,}",
    }
    act = "" if age <= BACKUP_AT_MOST else _("It is too old: look why none was made since.")
    return Check(key="backup", name=name, says=says, act=act)


def seals(now: datetime) -> Iterator[Check]:
    """Up to which day everything is sealed; nothing to say before the first is."""
    last = SealedDay.objects.order_by("-day").values_list("day", flat=True).first()
    if last is None:
        return
    act = _("Look whether worker and clock run.") if now.date() - last > SEAL_AT_MOST else ""
    says = _("up to %(day)s.") % {"day": last.isoformat()}
    yield Check(key="seals", name=_("Sealed days"), says=says, act=act)


def database_size() -> int:
    """The bytes the database takes on its server's disk."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_database_size(current_database())")
        return int(cursor.fetchone()[0])


def span(length: timedelta | None) -> str:
    """A span of time in the one unit that says enough ("12 minutes", "3 hours", "2 days")."""
    minutes = round((length or timedelta()).total_seconds() / 60)
    if minutes < 120:
        return ngettext("%(n)s minute", "%(n)s minutes", minutes) % {"n": minutes}
    if minutes < 48 * 60:
        hours = round(minutes / 60)
        return ngettext("%(n)s hour", "%(n)s hours", hours) % {"n": hours}
    days = round(minutes / 60 / 24)
    return ngettext("%(n)s day", "%(n)s days", days) % {"n": days}


def size(number: float) -> str:
    """Bytes in the unit that says enough (1 kB = 1,000 bytes)."""
    for unit in ("bytes", "kB", "MB"):
        if number < 1000:
            return f"{number:.0f} {unit}"
        number /= 1000
    return f"{number:.1f} GB"
