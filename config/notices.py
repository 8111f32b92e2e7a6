"""Notices: what a named role must do now. One per cause and role, closed when the cause is gone."""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.db.models import F, QuerySet
from django.utils import timezone

from config.models import Notice
from config.roles import ROLES

UNKNOWN_ROLE = "“{role}” is no role; expected one of {roles}."


@transaction.atomic
def raise_notice(
    *,
    cause: str,
    role: str,
    what: str,
    where: str = "",
    otherwise: str = "",
    url: str = "",
    until: datetime | None = None,
) -> Notice:
    """Ring once for a cause, however often and by however many at once it is found.

    ``cause`` is its key ("late-dose:<uuid>"); the words of an open notice are brought up to date.
    Raises ValueError for a role that does not exist.
    """
    if role not in ROLES:
        raise ValueError(UNKNOWN_ROLE.format(role=role, roles=", ".join(ROLES)))
    words = {"what": what[:400], "where": where, "otherwise": otherwise, "url": url, "until": until}
    # ON CONFLICT DO NOTHING on the partial unique index: a second finder waits for the first.
    Notice.objects.bulk_create([Notice(cause=cause, role=role, **words)], ignore_conflicts=True)
    notice = Notice.objects.select_for_update().get(cause=cause, role=role, closed_at=None)
    if any(getattr(notice, name) != value for name, value in words.items()):
        for name, value in words.items():
            setattr(notice, name, value)
        notice.save(update_fields=list(words))
    return notice


def close_gone(prefix: str, still: Iterable[str], at: datetime | None = None) -> int:
    """Close the open notices whose cause starts with ``prefix`` and is not in ``still``."""
    return (
        Notice.objects.filter(closed_at=None, cause__startswith=prefix)
        .exclude(cause__in=set(still))
        .update(closed_at=at or timezone.now())
    )


def open_for(roles: Iterable[str]) -> QuerySet[Notice]:
    """Open notices of these roles, what must be done soonest first."""
    return Notice.objects.filter(closed_at=None, role__in=tuple(roles)).order_by(
        F("until").asc(nulls_last=True), "raised_at"
    )
