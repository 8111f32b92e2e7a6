"""What the dairy hall, the brine and the store answer on the day sheets, in a line each."""

from datetime import datetime

from django.db.models import Exists, OuterRef
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.day_sheet import Line, Press
from config.days import day_words
from config.templatetags.sheet import amount
from milk import brine_board
from milk.day_make import DayMake, day_make
from milk.hall_milk import Standing, hall_milk
from milk.models import Order, Shipment, WheelPlace
from milk.rounds import rounds

NOTHING_STANDS = N_("No milk stands in trays or tanks.")
NO_WHEELS = N_("No wheel lies in the store.")
NO_ORDER = N_("No order waits to be picked.")
# So many trays and tanks are named in a line; the board has all of them.
NAMED = 4


def to_pour(at: datetime) -> Line:
    """Which tray and tank may be poured, and which not and why."""
    standing = hall_milk(at)
    url = reverse("milk:pour")
    if not standing:
        return Line(word=_("empty"), form="closed", says=_(NOTHING_STANDS), url=url)
    kept = [one for one in standing if one.against]
    free = [one for one in standing if not one.against]
    if not kept:
        says = _("{free} may be poured.").format(free=names_of(free))
        return Line(word=_("POUR"), form="pour", says=says, url=url)
    rest = _(" {free} may be poured.").format(free=names_of(free)) if free else ""
    return Line(
        word=_("DO NOT POUR"),
        form="held",
        says=f"{names_of(kept)}: {kept[0].against}{rest}",
        url=url,
        act=_("Keep {kept} back").format(kept=names_of(kept, start=False)),
        press=Press.NOW,
    )


def names_of(standing: list[Standing], *, start: bool = True) -> str:
    """The first few by name, and how many more; as the start of a sentence or within one."""
    more = len(standing) - NAMED
    names = ", ".join(one.name for one in standing[:NAMED])
    words = _("{names} and {more} more").format(names=names, more=more) if more > 0 else names
    return words[:1].upper() + words[1:] if start else words


def fat_to_casein(at: datetime) -> Line:
    """Where the day's fat to casein stands and ends, and whether skimming must mend it."""
    made: DayMake = day_make(timezone.localdate(at), at)
    url = reverse("milk:vats")
    if made.is_told:
        return Line(
            word=_("skim more"),
            form="first",
            says=made.words,
            url=reverse("milk:pour"),
            act=_("Skim more, while there is milk to skim"),
            press=Press.NOW,
        )
    over = made.most is not None and made.mean is not None and made.mean > made.most
    word = (
        _("over")
        if over
        else _("{count} vats").format(count=len(made.vats))
        if made.vats
        else _("none yet")
    )
    form = "over" if over else "open" if made.vats else "closed"
    return Line(word=word, form=form, says=made.words, url=url)


def brine(at: datetime) -> Line:
    """Which rows come out of the brine today."""
    board = brine_board.board(at)
    url = reverse("milk:brine")
    if not board.due:
        says = _("{answer} {wheels} wheels lie in it.").format(
            answer=board.answer, wheels=amount(board.wheels)
        )
        return Line(word=_("none today"), form="closed", says=says, url=url)
    late = any(row.is_late for row in board.due)
    return Line(
        word=_("OUT TODAY"),
        form="past" if late else "first",
        says=board.answer,
        url=url,
        act=_("Take {due} out of the brine").format(due=board.due[0]),
        press=Press.TODAY,
    )


def turning(at: datetime) -> Line:
    """Which aisle is turned next, and how many are over their time."""
    found = rounds(at)
    url = reverse("milk:rounds")
    if not found.aisles:
        return Line(word=_("empty"), form="closed", says=_(NO_WHEELS), url=url)
    if not found.today:
        return Line(word=_("in time"), form="closed", says=found.answer, url=url)
    first = found.today[0]
    return Line(
        word=_("{count} to turn").format(count=len(found.today)),
        form="past" if found.over else "first",
        says=found.answer,
        url=url,
        act=_("Turn {first}").format(first=first.name),
        press=Press.TODAY,
    )


def to_lay(at: datetime) -> Line | None:
    """Wheels out of the brine that nobody laid in the store, or that were not found."""
    few = WheelPlace.What
    found = WheelPlace.objects.filter(what__in=(few.OUT, few.LOST, few.DOUBT)).order_by("at")
    rows = list(found.values_list("what", "wheel__plate"))
    if not rows:
        return None
    out = [plate for what, plate in rows if what == few.OUT]
    lost = [plate for what, plate in rows if what != few.OUT]
    parts = []
    if out:
        parts.append(
            _("{count} out of the brine and not laid, first {out}").format(
                count=amount(len(out)), out=out[0]
            )
        )
    if lost:
        parts.append(
            _("{count} to look for, first {lost}").format(count=amount(len(lost)), lost=lost[0])
        )
    return Line(
        word=_("to lay") if out else _("to find"),
        form="first" if out else "unsure",
        says=f"{'; '.join(parts)}.",
        url=reverse("milk:store"),
        act=_("Lay the wheels") if out else _("Look for the wheels"),
        press=Press.TODAY,
    )


def orders(at: datetime) -> Line:
    """The orders that wait to be picked, the one that leaves first leading."""
    sent = Shipment.objects.standing().filter(order=OuterRef("pk"))
    waiting = Order.objects.standing().filter(~Exists(sent), happened_at__lte=at)
    found = list(waiting.select_related("buyer").order_by("wanted_on", "happened_at")[:20])
    url = reverse("milk:orders")
    if not found:
        return Line(word=_("none"), form="closed", says=_(NO_ORDER), url=url)
    first = found[0]
    when = (
        _(" on {wanted_on}").format(wanted_on=day_words(first.wanted_on)) if first.wanted_on else ""
    )
    more = _("; {count} more").format(count=len(found) - 1) if len(found) > 1 else ""
    return Line(
        word=_("to pick"),
        form="first",
        says=_("{first} for {buyer} leaves{when}{more}.").format(
            first=capfirst(str(first)), buyer=first.buyer, when=when, more=more
        ),
        url=first.get_absolute_url(),
        act=_("Pick {first}").format(first=first),
        press=Press.TODAY,
    )
