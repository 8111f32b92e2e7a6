"""Background jobs of the herd. Each can run at any time, twice or late, with the same outcome."""

from celery import shared_task
from django.utils import timezone

from config.jobs import job
from herd.services import rounds, withdrawals


@shared_task(name="herd.tasks.ring_for_rounds")
def ring_for_rounds() -> dict[str, int]:
    """Ring for doses due and late, and for bands that come off at the next milking."""
    with job("herd.tasks.ring_for_rounds") as counted:
        counted.update(rounds.ring_for_rounds(timezone.now()))
    return counted


@shared_task(name="herd.tasks.compute_periods_again")
def compute_periods_again() -> dict[str, int]:
    """Compute every animal's withdrawal periods again; the same unless a computation was lost."""
    with job("herd.tasks.compute_periods_again") as counted:
        changed = withdrawals.rebuild_all()
        withdrawals.ask_for_flags(changed)
        counted["changed"] = len(changed)
    return counted
