"""What the herd answers on the day sheets, in a line each; read live at a moment."""

from datetime import datetime

from django.urls import reverse
from django.utils import timezone

from config.day_sheet import RELIEF, Line, Press, ask, offer
from config.roles import MILKER, OWNER, STOCKMAN, VET
from config.templatetags.sheet import moment
from herd.coming_back import coming_back, next_start
from herd.milking_list import milking_list
from herd.models import Group
from herd.next_doses import due_doses
from herd.services.withdrawals import times_by_group
from herd.unknown import open_unknown
from herd.wall import line_at
from herd.withheld import Answer, withheld_list

# So many cows are named in a line; the list has all of them.
NAMED = 6


def said(number: int, one: str, many: str) -> str:
    """A number with its noun: "1 cow", "36 cows"."""
    return f"{number:,} {one if number == 1 else many}"


def names_of(answers: list[Answer]) -> str:
    """The first few by name, and how many more."""
    more = len(answers) - NAMED
    names = ", ".join(answer.name for answer in answers[:NAMED])
    return f"{names} and {more} more" if more > 0 else names


def in_the_tank(at: datetime) -> Line:
    """How many are NOT, how many TANK, and who comes back at the next milking."""
    answers = withheld_list(at)
    milked = [one for one in answers if one.is_milked]
    out = [one for one in milked if one.withheld]
    free = len(milked) - len(out)
    back = len(coming_back(at, answers))
    says = f"{said(len(out), 'cow is', 'cows are')} NOT for the tank, {free:,} are TANK."
    if back:
        says += f" {said(back, 'comes', 'come')} back at the next milking."
    return Line(word="NOT", form="not", says=says, url=reverse("herd:withheld"))


def without_a_tag(at: datetime) -> Line | None:
    """Cows nobody knows: their milk is NOT for the tank. None when there is none."""
    found = list(open_unknown(at))
    if not found:
        return None
    groups = ", ".join(sorted({str(one.group) for one in found}))
    cows = said(len(found), "cow that nobody knows stands", "cows that nobody knows stand")
    return Line(
        word="NOT",
        form="not",
        says=f"{cows} in {groups}: no milk into the tank.",
        url=reverse("herd:unknown-cows"),
        act="Find out who she is",
        press=Press.TODAY,
    )


def doses(at: datetime) -> Line:
    """The doses of this round, in the order of the walk."""
    due = due_doses(at)
    url = reverse("herd:list", args=["doses"])
    if not due:
        return Line(word="none due", form="closed", says="No dose is due in this round.", url=url)
    late = sum(is_late for _, is_late in due)
    first = due[0][0]
    where = f", {first.group}" if first.group else ""
    says = f"{said(len(due), 'dose', 'doses')} in this round. First: {first.course.animal}{where}."
    if late:
        says = f"{said(late, 'dose is', 'doses are')} late; {says}"
    return Line(
        word="late" if late else "due",
        form="past" if late else "first",
        says=says,
        url=url,
        act="Give the doses",
        press=Press.NOW if late else Press.TODAY,
        until=min(one.at for one, _ in due),
    )


def next_group(at: datetime) -> tuple[datetime, Group] | None:
    """The group that is milked next, and when; None where no milking is planned."""
    groups = Group.objects.standing().in_bulk()
    coming = [
        (start, groups[pk].number, groups[pk])
        for pk, times in times_by_group().items()
        if pk in groups and (start := next_start(times, at)) is not None
    ]
    if not coming:
        return None
    start, _, group = min(coming)
    return start, group


def next_milking(at: datetime) -> Line | None:
    """Who of the group that is milked next is NOT, and into which line it goes."""
    coming = next_group(at)
    if coming is None:
        return None
    start, group = coming
    listed = milking_list(at, group)
    out = [one for one in listed.answers if one.withheld and one.animal_id not in listed.back]
    line = line_words(line_at(group, start))
    head = f"Group {group.number} at {timezone.localtime(start):%H:%M} {line}"
    url = reverse("herd:wall", args=[group.number])
    if not out:
        says = f"{head}: nobody is NOT in it."
        return Line(word="TANK", form="tank", says=says, url=url)
    says = f"{head}: {len(out)} NOT, {names_of(out)}."
    return Line(word="NOT", form="not", says=says, url=url, until=start)


def line_words(line: str) -> str:
    """Into which line, in words."""
    if not line:
        return "(nobody wrote into which line)"
    return "into waste" if line.casefold() == "waste" else f"into tank {line}"


def back_today(at: datetime) -> Line:
    """Whose band comes off at the next milking of her group."""
    answers = withheld_list(at)
    back = coming_back(at, answers)
    url = reverse("herd:list", args=["back"])
    if not back:
        says = "No band comes off at the next milking."
        return Line(word="nobody", form="closed", says=says, url=url)
    cows = [one for one in answers if one.animal_id in back]
    says = f"Bands off at the milking of {moment(min(back.values()))}: {names_of(cows)}."
    return Line(word="BACK", form="tank", says=says, url=url)


ask({VET: 1, STOCKMAN: 1, OWNER: 5}, "Milk of the cows", in_the_tank)
ask({VET: 2, STOCKMAN: 2, MILKER: 3, RELIEF: 2}, "Unknown cows", without_a_tag)
ask({VET: 3, STOCKMAN: 3, RELIEF: 1}, "Doses", doses)
ask({MILKER: 1}, "Next milking", next_milking)
ask({MILKER: 2}, "Bands off", back_today)

offer({VET: 1, STOCKMAN: 1}, "Walk through the barn", "herd:walk", "read")
offer({VET: 2, STOCKMAN: 3}, "Calving", "herd:calving", "write:calvings")
offer({STOCKMAN: 2, MILKER: 4}, "Move a cow", "herd:move", "write:group-stays")
offer({STOCKMAN: 4, MILKER: 3}, "Cow without a tag", "herd:unknown-cows", "write:unknown-cows")
