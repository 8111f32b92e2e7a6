"""What the dairy hall, the brine and the store answer on the day sheets, in a line each."""

from datetime import datetime

from django.db.models import Exists, OuterRef
from django.urls import reverse
from django.utils import timezone

from config.day_sheet import Line, Press
from config.days import day_words
from milk import brine_board
from milk.day_make import DayMake, day_make
from milk.hall_milk import Standing, hall_milk
from milk.models import Order, Shipment, WheelPlace
from milk.rounds import rounds

NOTHING_STANDS = "No milk stands in trays or tanks."
NO_WHEELS = "No wheel lies in the store."
NO_ORDER = "No order waits to be picked."
# So many trays and tanks are named in a line; the board has all of them.
NAMED = 4


def to_pour(at: datetime) -> Line:
    """Which tray and tank may be poured, and which not and why."""
    standing = hall_milk(at)
    url = reverse("milk:pour")
    if not standing:
        return Line(word="empty", form="closed", says=NOTHING_STANDS, url=url)
    kept = [one for one in standing if one.against]
    free = [one for one in standing if not one.against]
    if not kept:
        says = f"{names_of(free)} may be poured."
        return Line(word="POUR", form="pour", says=says, url=url)
    rest = f" {names_of(free)} may be poured." if free else ""
    return Line(
        word="DO NOT POUR",
        form="held",
        says=f"{names_of(kept)}: {kept[0].against}{rest}",
        url=url,
        act=f"Keep {names_of(kept, start=False)} back",
        press=Press.NOW,
    )


def names_of(standing: list[Standing], *, start: bool = True) -> str:
    """The first few by name, and how many more; as the start of a sentence or within one."""
    more = len(standing) - NAMED
    names = ", ".join(one.name for one in standing[:NAMED])
    words = f"{names} and {more} more" if more > 0 else names
    return words[:1].upper() + words[1:] if start else words


def fat_to_casein(at: datetime) -> Line:
    """Where the day's fat to casein stands and ends, and whether skimming must mend it."""
    made: DayMake = day_make(timezone.localdate(at), at)
    url = reverse("milk:vats")
    if made.is_told:
        return Line(
            word="skim more",
            form="first",
            says=made.words,
            url=reverse("milk:pour"),
            act="Skim more, while there is milk to skim",
            press=Press.NOW,
        )
    over = made.most is not None and made.mean is not None and made.mean > made.most
    word = "over" if over else f"{len(made.vats)} vats" if made.vats else "none yet"
    form = "over" if over else "open" if made.vats else "closed"
    return Line(word=word, form=form, says=made.words, url=url)


def brine(at: datetime) -> Line:
    """Which rows come out of the brine today."""
    board = brine_board.board(at)
    url = reverse("milk:brine")
    if not board.due:
        says = f"{board.answer} {board.wheels:,} wheels lie in it."
        return Line(word="none today", form="closed", says=says, url=url)
    late = any(row.is_late for row in board.due)
    return Line(
        word="OUT TODAY",
        form="past" if late else "first",
        says=board.answer,
        url=url,
        act=f"Take {board.due[0]} out of the brine",
        press=Press.TODAY,
    )


def turning(at: datetime) -> Line:
    """Which aisle is turned next, and how many are over their time."""
    found = rounds(at)
    url = reverse("milk:rounds")
    if not found.aisles:
        return Line(word="empty", form="closed", says=NO_WHEELS, url=url)
    if not found.today:
        return Line(word="in time", form="closed", says=found.answer, url=url)
    first = found.today[0]
    return Line(
        word=f"{len(found.today)} to turn",
        form="past" if found.over else "first",
        says=found.answer,
        url=url,
        act=f"Turn {first.name}",
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
        parts.append(f"{len(out):,} out of the brine and not laid, first {out[0]}")
    if lost:
        parts.append(f"{len(lost):,} to look for, first {lost[0]}")
    return Line(
        word="to lay" if out else "to find",
        form="first" if out else "unsure",
        says=f"{'; '.join(parts)}.",
        url=reverse("milk:store"),
        act="Lay the wheels" if out else "Look for the wheels",
        press=Press.TODAY,
    )


def orders(at: datetime) -> Line:
    """The orders that wait to be picked, the one that leaves first leading."""
    sent = Shipment.objects.standing().filter(order=OuterRef("pk"))
    waiting = Order.objects.standing().filter(~Exists(sent), happened_at__lte=at)
    found = list(waiting.select_related("buyer").order_by("wanted_on", "happened_at")[:20])
    url = reverse("milk:orders")
    if not found:
        return Line(word="none", form="closed", says=NO_ORDER, url=url)
    first = found[0]
    when = f" on {day_words(first.wanted_on)}" if first.wanted_on else ""
    more = f"; {len(found) - 1} more" if len(found) > 1 else ""
    return Line(
        word="to pick",
        form="first",
        says=f"{str(first).capitalize()} for {first.buyer} leaves{when}{more}.",
        url=first.get_absolute_url(),
        act=f"Pick {first}",
        press=Press.TODAY,
    )
