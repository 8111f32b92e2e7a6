"""The frame's own background work: clearing what nobody needs any more, backing up."""

from datetime import datetime, timedelta

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from config import offline_shifts, once, personal, waiting_work
from config.access import limits
from config.backup import BackupError
from config.backup.files import is_under_way
from config.backup.making import last_backup, make
from config.backup.rotation import is_due
from config.days import estate_zone
from config.jobs import job
from config.models import JobRun, Session
from config.notices import close_gone, raise_notice
from config.roles import OFFICE, OWNER
from config.running import ringing
from config.seals import sealing

SEAL_JOB = "config.tasks.seal_days"
BACKUP_JOB = "config.tasks.back_up"
# A backup of ten years takes minutes. Meanwhile the broker may hand the task out again: it finds
# that one is under way.
LONG = timedelta(hours=3)
# What jobs did is kept for a quarter of a year.
RUNS_KEPT = timedelta(days=92)
NOT_WHOLE = "seals:not whole"
CHANGED_BEHIND = (
    "The book was changed behind its back, in {number} places. Keep everything as it is and ask "
    "whoever looks after the server to run “manage.py verify”. {first}"
)
EVIDENCE_LOST = "Nobody can rely on what the book says of those days."
COPY_FAILED = "The backup is made, a copy of it is not."


@shared_task
def clear_old() -> dict[str, int]:
    """Forget keys of writes that nobody repeats any more, and sessions that have ended."""
    with job("config.tasks.clear_old") as counted:
        counted["keys"] = once.forget_old()
        counted["clock questions"] = offline_shifts.close_answered()
        old = timezone.now() - RUNS_KEPT
        counted["runs"], _ = JobRun.objects.filter(started_at__lt=old).delete()
        counted["guesses"] = limits.forget_old(timezone.now())
        counted["sign-ins"] = personal.forget_old(timezone.now())
        counted["sessions"], _ = Session.objects.filter(expire_date__lt=timezone.now()).delete()
    return counted


@shared_task
def work_on_file(number: str) -> dict[str, int]:
    """Look at or take a large file somebody sent; harmless twice."""
    with job("config.tasks.work_on_file") as counted:
        counted["rows"] = waiting_work.work_on(number)
    return counted


@shared_task
def look_at_running() -> dict[str, int]:
    """Ring when a job, the backup or the seals are not as they should be."""
    with job("config.tasks.look_at_running") as counted:
        counted.update(ringing.ring(timezone.now()))
    return counted


@shared_task
def seal_days() -> dict[str, int]:
    """Seal the days that are over; after a gap only once the clock has gone on for an hour.

    A clock that jumped ahead would have a day sealed that is not over, and what is written on it
    once the clock is put right would not be in its seal, for good.
    """
    now = timezone.now()
    steady = was_run_lately(SEAL_JOB, now)
    with job(SEAL_JOB) as counted:
        counted["days"] = len(sealing.seal(now)) if steady else 0
    return counted


def was_run_lately(name: str, now: datetime) -> bool:
    """Whether a job's last run was not long before, or whether this is its first."""
    runs = JobRun.objects.filter(name=name, started_at__lte=now).order_by("-started_at")
    last = runs.values_list("started_at", flat=True).first()
    return last is None or now - last < LONG


@shared_task(time_limit=int(LONG.total_seconds()))
def check_seals() -> dict[str, int]:
    """Hold the book against its seals, and ring when it is not what was sealed."""
    with job("config.tasks.check_seals") as counted:
        found = sealing.check()
        counted.update({"days": found.days, "lines": found.lines, "faults": len(found.faults)})
        for role in (OWNER, OFFICE) if found.faults else ():
            raise_notice(
                cause=NOT_WHOLE,
                role=role,
                what=CHANGED_BEHIND.format(number=len(found.faults), first=found.faults[0][:200]),
                otherwise=EVIDENCE_LOST,
                url="/seals/",
            )
        close_gone(NOT_WHOLE, [NOT_WHOLE] if found.faults else [])
    return counted


@shared_task(time_limit=int(LONG.total_seconds()))
def back_up() -> dict[str, int]:
    """Make the day's backup once its hour has struck, and copy it; nothing when it is there."""
    if is_under_way(settings.BACKUP_FOLDER):
        return {}
    now = timezone.now().astimezone(estate_zone())
    last = last_backup(settings.BACKUP_FOLDER)
    if not is_due(last.made_at if last else None, now, settings.BACKUP_HOUR):
        return {}
    with job(BACKUP_JOB) as counted:
        made = make(settings.BACKUP_FOLDER, now)
        counted.update({"bytes": made.manifest.size, "removed": len(made.removed)})
        if made.troubles:
            raise BackupError(" ".join((COPY_FAILED, *made.troubles)))
    return counted
