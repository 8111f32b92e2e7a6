"""Print which animals' milk stays out of the tank at a moment."""

import json
from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from config.days import estate_zone
from herd.api.withheld import told
from herd.models import Group
from herd.typed import typed_moment
from herd.withheld import Answer, withheld_list

NO_MOMENT = "--at {text}: no date and time. Expected one such as 2026-06-06T16:30 (estate time)."
NO_GROUP = "--group {number}: there is no such group. Expected one of {numbers}."


class Command(BaseCommand):
    help = "Which animals' milk stays out of the tank (NOT), until when, and why."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--at", help="a moment, in estate time unless it has an offset")
        parser.add_argument("--group", type=int, help="one group, by its number")
        parser.add_argument("--json", action="store_true", help="every animal, for programs")

    def handle(self, *args: Any, **options: Any) -> None:
        at = moment(options["at"]) if options["at"] else timezone.now()
        if options["group"] is not None:
            check_group(options["group"])
        answers = withheld_list(at, group=options["group"])
        if options["json"]:
            body = {"at": at.isoformat(), "animals": [told(answer) for answer in answers]}
            self.stdout.write(json.dumps(body, indent=1))
        else:
            self.stdout.write(sheet(at, answers))


def moment(text: str) -> datetime:
    """A moment typed on the command line; of an hour that comes twice the later."""
    try:
        return typed_moment(text)
    except ValueError as error:
        raise CommandError(NO_MOMENT.format(text=text)) from error


def check_group(number: int) -> None:
    """Refuse a group that does not exist."""
    numbers = list(Group.objects.standing().order_by("number").values_list("number", flat=True))
    if number not in numbers:
        raise CommandError(NO_GROUP.format(number=number, numbers=", ".join(map(str, numbers))))


def sheet(at: datetime, answers: list[Answer]) -> str:
    """The list for people: groups that are milked, and who of them stays out."""
    milked = [answer for answer in answers if answer.is_milked]
    out = [answer for answer in milked if answer.withheld]
    lines = [
        f"As at {local(at)}: {len(out)} NOT, {len(milked) - len(out)} TANK, "
        f"{len(answers) - len(milked)} in groups that are not milked."
    ]
    lines += [line(answer) for answer in out]
    lines.append("The leaflet, the prescribing vet and local law decide; this list reminds.")
    return "\n".join(lines)


def line(answer: Answer) -> str:
    """One animal that stays out, for people."""
    back = "nobody knows until when"
    if answer.until:
        back = f"until {local(answer.until)}"
    if answer.back:
        back = f"back {local(answer.back)}"
    return f"  group {answer.group:>2}  {answer.name:<15}  NOT  {back}  {'; '.join(answer.why)}"


def local(at: datetime) -> str:
    """A moment on the estate's clock."""
    return at.astimezone(estate_zone()).strftime("%a %d %b %Y %H:%M")
