"""The herd at a glance: its groups, how many stand in each, and who of them is withheld."""

from collections import Counter

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from config.days import estate_zone
from config.roles import action_required, may
from herd.models import Group
from herd.planned import Stands, first_milking
from herd.services.withdrawals import times_by_group
from herd.withheld import NOT_MILKED, withheld_list

# What people in the barn write most, in the order they do.
USUAL = ("group-stays", "animals", "calvings", "health-events", "doses", "dry-offs")


@action_required("read")
def index(request: HttpRequest) -> HttpResponse:
    """Groups with their head counts, the next milking of each, and what may be written here."""
    now = timezone.now()
    answers = withheld_list(now)
    heads = Counter(answer.group_id for answer in answers)
    out = Counter(answer.group_id for answer in answers if answer.withheld)
    times, zone = times_by_group(), estate_zone()
    rows = [
        {
            "group": group,
            "heads": heads[group.pk],
            "out": out[group.pk],
            "milked": group.use not in NOT_MILKED,
            "next": first_milking([Stands(now, None, times.get(group.pk, ()))], zone, now),
        }
        for group in Group.objects.standing().order_by("number")
    ]
    milked = [row for row in rows if row["milked"]]
    context = {
        "rows": rows,
        "heads": len(answers),
        "milked": sum(row["heads"] for row in milked),
        "out": sum(row["out"] for row in milked),
        "usual": [slug for slug in USUAL if may(request.user, f"write:{slug}")],
        "now": now,
    }
    return render(request, "herd/index.html", context)
