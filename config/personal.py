"""What the book keeps about somebody who signs in: told to them on demand, and for how long.

Entries, files and what was done about access keep their names for good: who wrote what is what the
book is for, and the law asks for it (records of medicines five years, Regulation (EU) 2019/6 Art.
108). From where somebody signed in is only good for finding a break-in, and goes after a year.
"""

from datetime import datetime, timedelta
from typing import Any

from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.contrib.auth.models import User
from django.db.models import Count, Q

from config.access.models import AccessEvent, MachineToken, Session
from config.kinds import all_kinds
from config.models import Upload
from config.seals.lines import plain

# House judgement: long enough for a break-in that is found late.
SIGN_INS_KEPT = timedelta(days=365)


def kept_about(user: User) -> dict[str, Any]:
    """Everything that is kept about a user, ready for JSON; moments in UTC.

    ``entries``: by kind how many were written and struck; what they say stands in the export.
    """
    told = {
        "account": {
            "name": user.get_username(),
            "full_name": user.get_full_name(),
            "email": user.email,
            "roles": sorted(user.groups.values_list("name", flat=True)),
            "may_sign_in": user.is_active,
            "since": user.date_joined,
            "last_signed_in": user.last_login,
        },
        "sessions": rows(
            Session.objects.filter(user=user), "since", "seen_at", "address", "browser"
        ),
        "sign_ins": rows(
            AccessLog.objects.filter(username=user.get_username()),
            "attempt_time", "logout_time", "ip_address", "user_agent",
        ),
        "wrong_passwords": rows(
            AccessAttempt.objects.filter(username=user.get_username()),
            "attempt_time", "ip_address", "user_agent", "failures_since_start",
        ),
        "done_about_access": rows(
            AccessEvent.objects.filter(user=user), "at", "what", "about", "address", "by__username"
        ),
        "tokens": rows(
            MachineToken.objects.filter(user=user),
            "name", "created", "expiry", "scopes", "seen_at", "seen_from",
        ),
        "entries": entries_of(user),
        "files_taken_in": Upload.objects.filter(by=user).count(),
    }  # fmt: skip
    found: dict[str, Any] = plain(told)
    return found


def rows(queryset: Any, *names: str) -> list[dict[str, Any]]:
    """Rows as dicts, oldest first."""
    return list(queryset.order_by("pk").values(*names))


def entries_of(user: User) -> dict[str, dict[str, int]]:
    """By kind, how many entries somebody wrote and struck; kinds without any are left out."""
    found = {}
    for kind in all_kinds():
        counted = kind.model._default_manager.aggregate(
            written=Count("pk", filter=Q(by=user)), struck=Count("pk", filter=Q(struck_by=user))
        )
        if any(counted.values()):
            found[kind.slug] = counted
    return found


def forget_old(at: datetime) -> int:
    """Delete from where people signed in, or tried to, longer ago than a year; how many."""
    old = at - SIGN_INS_KEPT
    return sum(
        model.objects.filter(attempt_time__lt=old).delete()[0]
        for model in (AccessLog, AccessAttempt, AccessFailureLog)
    )
