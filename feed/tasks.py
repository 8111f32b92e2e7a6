"""The feed's background jobs; the work stands in services, with the moment as an argument."""

from celery import shared_task
from django.utils import timezone

from config.jobs import job
from feed.services.deadlines import FLAG_TASK
from feed.services.drift import ring_for_drift
from feed.services.notices import flag


@shared_task(name="feed.tasks.flag_grass_past_window")
def flag_grass_past_window() -> dict[str, int]:
    """Ring for cut grass past its window or to be fed first; what was counted."""
    with job(FLAG_TASK) as counted:
        counted.update(flag(timezone.now()))
    return counted


@shared_task(name="feed.tasks.ring_for_shares")
def ring_for_shares() -> dict[str, int]:
    """Ring for shares of the feed that drift out of their rules; what was counted."""
    with job("feed.tasks.ring_for_shares") as counted:
        counted.update(ring_for_drift(timezone.now()))
    return counted
