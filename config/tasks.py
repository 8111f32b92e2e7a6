"""The frame's own background work: clearing what nobody needs any more."""

from celery import shared_task
from django.contrib.sessions.models import Session
from django.utils import timezone

from config import offline_shifts, once
from config.jobs import job


@shared_task
def clear_old() -> dict[str, int]:
    """Forget keys of writes that nobody repeats any more, and sessions that have ended."""
    with job("clear old keys and sessions") as counted:
        counted["keys"] = once.forget_old()
        counted["clock questions"] = offline_shifts.close_answered()
        counted["sessions"], _ = Session.objects.filter(expire_date__lt=timezone.now()).delete()
    return counted
