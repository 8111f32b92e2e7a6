"""What the herd answers on the day sheets, in a line each; read live at a moment."""

from datetime import datetime

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.day_sheet import RELIEF, Line, Press, ask, offer
from config.roles import MILKER, OWNER, STOCKMAN, VET
from config.templatetags.sheet import amount, moment
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


def names_of(answers: list[Answer]) -> str:
    """The first few by name, and how many more."""
    more = len(answers) - NAMED
    names = ", ".join(answer.name for answer in answers[:NAMED])
    return _("{names} and {more} more").format(names=names, more=more) if more > 0 else names


def in_the_tank(at: datetime) -> Line:
    """How many are NOT, how many TANK, and who comes back at the next milking."""
    answers = withheld_list(at)
    milked = [one for one in answers if one.is_milked]
    out = [one for one in milked if one.withheld]
    free = len(milked) - len(out)
    back = len(coming_back(at, answers))
    says = ngettext(
        "{count} cow is NOT for the tank, {free} are TANK.",
        "{count} cows are NOT for the tank, {free} are TANK.",
        len(out),
    ).format(count=amount(len(out)), free=amount(free))
    if back:
        comes = ngettext(
            "{count} comes back at the next milking.",
            "{count} come back at the next milking.",
            back,
        )
        says = f"{says} {comes.format(count=back)}"
    return Line(word=_("NOT"), form="not", says=says, url=reverse("herd:withheld"))


def without_a_tag(at: datetime) -> Line | None:
    """Cows nobody knows: their milk is NOT for the tank. None when there is none."""
    found = list(open_unknown(at))
    if not found:
        return None
    groups = ", ".join(sorted({str(one.group) for one in found}))
    says = ngettext(
        "{count} cow that nobody knows stands in {groups}: no milk into the tank.",
        "{count} cows that nobody knows stand in {groups}: no milk into the tank.",
        len(found),
    )
    return Line(
        word=_("NOT"),
        form="not",
        says=says.format(count=len(found), groups=groups),
        url=reverse("herd:unknown-cows"),
        act=_("Find out who she is"),
        press=Press.TODAY,
    )


def doses(at: datetime) -> Line:
    """The doses of this round, in the order of the walk."""
    due = due_doses(at)
    url = reverse("herd:list", args=["doses"])
    if not due:
        return Line(
            word=_("none due"), form="closed", says=_("No dose is due in this round."), url=url
        )
    late = sum(is_late for _, is_late in due)
    first = due[0][0]
    where = f", {first.group}" if first.group else ""
    says = ngettext(
        "{count} dose in this round. First: {animal}{where}.",
        "{count} doses in this round. First: {animal}{where}.",
        len(due),
    ).format(count=len(due), animal=first.course.animal, where=where)
    if late:
        are_late = ngettext("{count} dose is late", "{count} doses are late", late)
        says = f"{are_late.format(count=late)}; {says}"
    return Line(
        word=_("late") if late else _("due"),
        form="past" if late else "first",
        says=says,
        url=url,
        act=_("Give the doses"),
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
    head = _("Group {number} at {localtime} {line}").format(
        number=group.number, localtime=f"{timezone.localtime(start):%H:%M}", line=line
    )
    url = reverse("herd:wall", args=[group.number])
    if not out:
        says = _("{head}: nobody is NOT in it.").format(head=head)
        return Line(word=_("TANK"), form="tank", says=says, url=url)
    says = _("{head}: {count} NOT, {out}.").format(head=head, count=len(out), out=names_of(out))
    return Line(word=_("NOT"), form="not", says=says, url=url, until=start)


def line_words(line: str) -> str:
    """Into which line, in words."""
    if not line:
        return _("(nobody wrote into which line)")
    return (
        _("into waste") if line.casefold() == "waste" else _("into tank {line}").format(line=line)
    )


def back_today(at: datetime) -> Line:
    """Whose band comes off at the next milking of her group."""
    answers = withheld_list(at)
    back = coming_back(at, answers)
    url = reverse("herd:list", args=["back"])
    if not back:
        says = _("No band comes off at the next milking.")
        return Line(word=_("nobody"), form="closed", says=says, url=url)
    cows = [one for one in answers if one.animal_id in back]
    says = _("Bands off at the milking of {values}: {cows}.").format(
        values=moment(min(back.values())), cows=names_of(cows)
    )
    return Line(word=_("BACK"), form="tank", says=says, url=url)


ask({VET: 1, STOCKMAN: 1, OWNER: 5}, N_("Milk of the cows"), in_the_tank)
ask({VET: 2, STOCKMAN: 2, MILKER: 3, RELIEF: 2}, N_("Unknown cows"), without_a_tag)
ask({VET: 3, STOCKMAN: 3, RELIEF: 1}, N_("Doses"), doses)
ask({MILKER: 1}, N_("Next milking"), next_milking)
ask({MILKER: 2}, N_("Bands off"), back_today)

offer({VET: 1, STOCKMAN: 1}, N_("Walk through the barn"), "herd:walk", "read")
offer({VET: 2, STOCKMAN: 3}, N_("Calving"), "herd:calving", "write:calvings")
offer({STOCKMAN: 2, MILKER: 4}, N_("Move a cow"), "herd:move", "write:group-stays")
offer({STOCKMAN: 4, MILKER: 3}, N_("Cow without a tag"), "herd:unknown-cows", "write:unknown-cows")
