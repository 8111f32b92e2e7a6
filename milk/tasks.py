"""Background jobs of the milk. Each can run at any time, twice or late, with the same outcome."""

from datetime import date, datetime

from celery import shared_task
from django.utils import timezone

from config.jobs import job
from milk.services import (
    balance_notices,
    before_milking,
    flags,
    hall_notices,
    hold_notices,
    marks,
    plates,
    skimming,
    store_notices,
    supply_notices,
    wheel_places,
)


@shared_task(name="milk.tasks.flag_withheld_milk")
def flag_withheld_milk(
    animals: list[int] | None = None,
    since: str | None = None,
    until: str | None = None,
    at: str | None = None,
) -> dict[str, int]:
    """Hold lots with withheld milk: of these animals, or of all in the last 90 days.

    Moments as ISO 8601 text with their offset.
    """
    with job("milk.tasks.flag_withheld_milk") as counted:
        counted.update(
            flags.flag_withheld_milk(
                at=moment(at) or timezone.now(),
                since=moment(since),
                until=moment(until),
                animals=animals,
            )
        )
    return counted


@shared_task(name="milk.tasks.flag_lots_over_limits")
def flag_lots_over_limits(
    since: str | None = None, until: str | None = None, at: str | None = None
) -> dict[str, int]:
    """Flag results and means over limits. ``since`` is a day, the moments are ISO 8601 text."""
    with job("milk.tasks.flag_lots_over_limits") as counted:
        counted.update(
            flags.flag_lots_over_limits(
                at=moment(at) or timezone.now(),
                since=date.fromisoformat(since[:10]) if since else None,
                until=moment(until),
            )
        )
    return counted


@shared_task(name="milk.tasks.look_at_holds")
def look_at_holds(at: str | None = None) -> dict[str, int]:
    """Ring for holds without a step for too long, and tell the owner of dear ones."""
    with job("milk.tasks.look_at_holds") as counted:
        counted.update(hold_notices.look_at_holds(at=moment(at) or timezone.now()))
    return counted


@shared_task(name="milk.tasks.look_before_milkings")
def look_before_milkings(at: str | None = None) -> dict[str, int]:
    """Ring for withheld cows in groups whose line goes to a tank, before their milking."""
    with job("milk.tasks.look_before_milkings") as counted:
        counted.update(before_milking.look_before_milkings(at=moment(at) or timezone.now()))
    return counted


@shared_task(name="milk.tasks.look_at_balance")
def look_at_balance(at: str | None = None) -> dict[str, int]:
    """Ring for days of which more milk is missing than is usual."""
    with job("milk.tasks.look_at_balance") as counted:
        counted.update(balance_notices.look_at_balance(at=moment(at) or timezone.now()))
    return counted


@shared_task(name="milk.tasks.look_at_store")
def look_at_store(at: str | None = None) -> dict[str, int]:
    """Ring for rows of brine that are due or over, late rounds, and rooms out of their climate."""
    with job("milk.tasks.look_at_store") as counted:
        counted.update(store_notices.look_at_store(at=moment(at) or timezone.now()))
    return counted


@shared_task(name="milk.tasks.place_wheels_again")
def place_wheels_again() -> dict[str, int]:
    """Work out again where every wheel lies; what the services keep must come out the same."""
    with job("milk.tasks.place_wheels_again") as counted:
        counted["wheels"] = wheel_places.place_all_again()
    return counted


@shared_task(name="milk.tasks.keep_the_hall_again")
def keep_the_hall_again() -> dict[str, int]:
    """Keep marks, cream and weights again beside vats, trays and wheels; all must come out alike.

    How many had to be put right: more than none means that a write went past the services.
    """
    with job("milk.tasks.keep_the_hall_again") as counted:
        counted["vats"] = marks.keep_marks()
        counted["trays"] = skimming.keep_cream()
        counted["wheels"] = plates.keep_weights()
    return counted


@shared_task(name="milk.tasks.look_at_supplies")
def look_at_supplies(at: str | None = None) -> dict[str, int]:
    """Ring for plates to be ordered, and for rennet past its date."""
    with job("milk.tasks.look_at_supplies") as counted:
        counted.update(supply_notices.look_at_supplies(at=moment(at) or timezone.now()))
    return counted


@shared_task(name="milk.tasks.look_at_vats")
def look_at_vats(at: str | None = None) -> dict[str, int]:
    """Ring for slow vats of one lot, for the day's fat to casein, and for held starter."""
    with job("milk.tasks.look_at_vats") as counted:
        counted.update(hall_notices.look_at_vats(at=moment(at) or timezone.now()))
    return counted


def moment(text: str | None) -> datetime | None:
    """A moment from ISO 8601 text with its offset. Raises ValueError for one without."""
    if text is None:
        return None
    found = datetime.fromisoformat(text)
    if found.tzinfo is None:
        raise ValueError(f"{text} has no offset from UTC; expected one such as 2026-06-09T04:30Z")
    return found
