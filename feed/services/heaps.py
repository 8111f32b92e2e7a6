"""Probes and hands in the heap, and the one extension of a cool one."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from config.templatetags.sheet import amount, moment
from feed.models import ForageBatch, HeapCheck
from feed.services.deadlines import follow
from feed.services.left import check_begun, locked_thing, nothing_left
from feed.services.windows import book_of, heaps_of, reading_of

EXTENDED_ALREADY = N_("This load was extended once already; a second time is not possible.")
NO_RULE = N_(
    "No window rule covers the day of this cut, so there is nothing to extend. Ask the vet."
)
WARM = N_(
    "The heap is warm, and heat beats the clock: discard what is left. Write the reading without "
    "the extension."
)
NOT_NOW = N_(
    "The window may be extended only while the load is to be fed first, from {first} to "
    "{deadline}, by the reading taken then; this one is of {at}."
)
MORE_STILL = N_(
    "By the book {left} kg of {thing} are left, and this says {still} kg still lie there. Correct "
    "the weight of the load or what was fed of it first."
)
REASON_MISSING = N_("Write why the window is extended.")


@transaction.atomic
def record_heap_check(*, stamp: Stamp, batch: ForageBatch, **fields: Any) -> HeapCheck:
    """Write a reading; a hot one ends the window at its moment, a cool one may extend it once.

    Raises ValidationError by field.
    """
    thing = locked_thing(batch, None)
    assert isinstance(thing, ForageBatch)
    check_begun(thing, stamp.happened_at)
    if thing.done_at is not None and stamp.happened_at > thing.done_at:
        raise ValidationError({"batch": nothing_left(thing)})
    still = fields.get("still_kg")
    if still is not None and still > thing.left_kg:  # type: ignore[attr-defined]
        words = _(MORE_STILL).format(
            thing=thing,
            left=amount(thing.left_kg),  # type: ignore[attr-defined]
            still=amount(still),
        )
        raise ValidationError({"still_kg": words})
    check = HeapCheck(**stamp.columns(), batch=thing, **fields)
    if check.extends:
        check_may_extend(check)
    check = entries.record(HeapCheck, stamp=stamp, batch=thing, **fields)
    follow(thing.pk)
    return check


@transaction.atomic
def strike_heap_check(check: HeapCheck, **why: Any) -> HeapCheck:
    """Strike a reading; the window is what it would have been without it."""
    struck = entries.strike(check, **why)
    follow(struck.batch_id)
    return struck


def extended_already(batch: ForageBatch) -> bool:
    """Whether the heap a load lies on was extended before."""
    heap = heaps_of({batch.pk: batch})[batch.pk]
    found: bool = HeapCheck.objects.standing().filter(extends=True, batch__in=heap).exists()
    return found


def check_may_extend(check: HeapCheck) -> None:
    """Refuse an extension that would not count. Raises ValidationError at ``extends``."""
    if not check.extension_reason.strip():
        raise ValidationError({"extension_reason": _(REASON_MISSING)})
    if extended_already(check.batch):
        raise ValidationError({"extends": _(EXTENDED_ALREADY)})
    book = book_of([check.batch])
    before = book.window(check.batch)
    if before is None:
        raise ValidationError({"extends": _(NO_RULE)})
    alone = book.with_readings(check.batch, [reading_of(check)])
    if before.heated_at or (alone and alone.heated_at):
        raise ValidationError({"extends": _(WARM)})
    if alone is None or alone.extended_at is None:
        words = _(NOT_NOW).format(
            first=moment(before.first_at),
            deadline=moment(before.deadline),
            at=moment(check.happened_at),
        )
        raise ValidationError({"extends": words})
