"""TANK or NOT for every animal at a moment, by group."""

from datetime import datetime
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from config.roles import action_required
from herd.forms.withheld import WithheldForm
from herd.milking_list import milking_list
from herd.models import Group, MilkingTime
from herd.unknown import open_unknown
from herd.withheld import Answer, withheld_list


@action_required("read")
def withheld(request: HttpRequest) -> HttpResponse:
    """The list at a moment (``?at=``), of the herd or one group (``?group=``).

    Fetched as a panel of another page it is the list alone.
    """
    form = WithheldForm(request.GET or None)
    context: dict[str, Any] = {"form": form}
    if form.is_bound and not form.is_valid():
        return render(request, "herd/withheld.html", context, status=400)
    asked = form.cleaned_data if form.is_bound else {}
    at = asked.get("at") or timezone.now()
    number = asked.get("group")
    group = Group.objects.standing().filter(number=number).first() if number else None
    # Asked of one group now, people stand before its milking: what holds at its start counts.
    milking = milking_list(at, group) if group and not asked.get("at") else None
    answers = milking.answers if milking else withheld_list(at, group=number)
    context |= {"at": at, "number": number, "milking": milking, **sheet(at, answers)}
    context["unknown"] = list(open_unknown(at, number))
    panel = request.headers.get("HX-Request") == "true"
    return render(request, "herd/_withheld.html" if panel else "herd/withheld.html", context)


def sheet(at: datetime, answers: list[Answer]) -> dict[str, Any]:
    """The answers as the page shows them: groups that are milked, and those that are not."""
    groups = {group.pk: group for group in Group.objects.all()}
    lines = lines_at(at)
    rows = []
    for pk, found in groupby(answers, key=lambda answer: answer.group_id):
        cows = list(found)
        rows.append(
            {
                "group": groups[pk],
                "line": lines.get(pk, ""),
                "milked": cows[0].is_milked,
                "heads": len(cows),
                "out": [cow for cow in cows if cow.withheld],
                "free": [cow for cow in cows if not cow.withheld],
            }
        )
    milked = [row for row in rows if row["milked"]]
    return {
        "milked": milked,
        "free_groups": [row for row in milked if not row["out"]],
        "not_milked": [row for row in rows if not row["milked"]],
        "out": sum(len(row["out"]) for row in milked),
        "free": sum(len(row["free"]) for row in milked),
    }


def lines_at(at: datetime) -> dict[int, str]:
    """Into which line each group is milked on the day of a moment."""
    day = timezone.localdate(at)
    times = MilkingTime.objects.standing().filter(valid_from__lte=day).order_by("valid_from")
    return dict(times.exclude(line="").values_list("group_id", "line"))
