"""What the herd says about phones: how old a list may be, and what a corrected time changes.

An entry whose time was put right is asked about only when a milking changes by it.
"""

from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import estate_zone, local
from config.entries import Entry
from config.offline_clock import shift_words
from config.offline_pages import register_rule
from config.offline_shifts import register
from herd.breeding_rules import PHONE_LIST_OLD, rule_value
from herd.models import Course, Dose, GroupStay, WithdrawalPeriod
from herd.planned import Stands, planned_starts
from herd.services.withdrawals import times_by_group

CHANGES = N_(
    "{entry}: the phone’s clock was wrong, and {was} was corrected by {shift} to {at}. That puts "
    "it on the other side of the milking of {milking}. Is {at} right?"
)
CHANGES_END = N_(
    "{entry}: the phone’s clock was wrong, and {was} was corrected by {shift} to {at}. That moves "
    "the end of the period over the milking of {milking}. Is {at} right?"
)


def question(entry: Entry, shift: timedelta) -> str:
    """The question about an entry whose time was put right; "" when no milking changes by it."""
    group = group_of(entry)
    if group is None:
        return ""
    words = {
        "entry": entry,
        "was": local(entry.happened_at - shift),
        "shift": shift_words(shift),
        "at": local(entry.happened_at),
    }
    milking = milking_between(group, entry.happened_at - shift, entry.happened_at)
    if milking is not None:
        return _(CHANGES).format(**words, milking=local(milking))
    end = end_by(entry)
    milking = milking_between(group, end - shift, end) if end else None
    return _(CHANGES_END).format(**words, milking=local(milking)) if milking is not None else ""


def group_of(entry: Any) -> int | None:
    """The group (id) an entry is about, or its animal stood in then; None for any other entry."""
    group = getattr(entry, "group_id", None)
    if group is not None:
        return int(group)
    course = getattr(entry, "course", None)
    animal = getattr(entry, "animal_id", None) or getattr(course, "animal_id", None)
    if animal is None:
        return None
    stays = GroupStay.objects.standing().filter(
        animal=animal, during__contains=entry.happened_at, group__isnull=False
    )
    return stays.values_list("group_id", flat=True).first()


def end_by(entry: Entry) -> datetime | None:
    """When the milk of the animal may come back by the course an entry is about."""
    course = entry if isinstance(entry, Course) else entry.course if type(entry) is Dose else None
    if course is None:
        return None
    periods = WithdrawalPeriod.objects.filter(course=course).exclude(during__isempty=True)
    ends = [period.during.upper for period in periods if period.during.upper]
    return max(ends, default=None)


def milking_between(group: int, one: datetime, other: datetime) -> datetime | None:
    """The first planned milking of a group from one moment on, and before the other."""
    first, last = min(one, other), max(one, other)
    times = times_by_group().get(group, ())
    start = next(planned_starts([Stands(first, None, times)], estate_zone(), first), None)
    return start if start is not None and start < last else None


def list_too_old(at: datetime) -> int | None:
    """After how many minutes a list of TANK and NOT is too old; None without a rule."""
    minutes = rule_value(PHONE_LIST_OLD, at)
    return None if minutes is None else int(minutes)


register(question)
register_rule(list_too_old)
