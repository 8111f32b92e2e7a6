"""The frame's own background work: clearing what nobody needs any more, backing up."""

from datetime import timedelta

from celery import shared_task
from django.conf import settings
from django.contrib.sessions.models import Session
from django.utils import timezone

from config import offline_shifts, once
from config.backup import BackupError
from config.backup.files import is_under_way
from config.backup.making import last_backup, make
from config.backup.rotation import is_due
from config.days import estate_zone
from config.jobs import job

BACKUP_JOB = "config.tasks.back_up"
# A backup of ten years takes minutes. Meanwhile the broker may hand the task out again: it finds
# that one is under way.
BACKUP_LIMIT = timedelta(hours=3)
COPY_FAILED = "The backup is made, a copy of it is not."


@shared_task
def clear_old() -> dict[str, int]:
    """Forget keys of writes that nobody repeats any more, and sessions that have ended."""
    with job("config.tasks.clear_old") as counted:
        counted["keys"] = once.forget_old()
        counted["clock questions"] = offline_shifts.close_answered()
        counted["sessions"], _ = Session.objects.filter(expire_date__lt=timezone.now()).delete()
    return counted


@shared_task(time_limit=int(BACKUP_LIMIT.total_seconds()))
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
