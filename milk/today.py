"""What the milk answers on the day sheets, in a line each; read live at a moment."""

from datetime import datetime

from django.db.models import Count, Exists, OuterRef, Subquery
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.day_sheet import RELIEF, Line, Press, ask, offer
from config.days import short_day
from config.roles import CHEESEMAKER, INSPECTOR, MILKER, OFFICE, OWNER, STORE_HAND, VET
from config.templatetags.sheet import amount
from milk.day_make import vats_lately
from milk.hold_cost import cost_together
from milk.judging import Limits, samplings, series_for, standings
from milk.models import Hold, Recall, RecallStep, Wheel
from milk.nouns import counted
from milk.today_dairy import brine, fat_to_casein, orders, to_lay, to_pour, turning
from milk.today_store import missing, rooms

NO_PRICE_SET = N_("no price is set")
NONE_MISSING = N_("No sample of this month is missing.")


def holds(at: datetime) -> Line:
    """What is held, and that two people must decide."""
    found = open_holds(at)
    url = reverse("milk:holds")
    if not found:
        return Line(word=_("nothing held"), form="closed", says=_("No hold is open."), url=url)
    first = found[0]
    more = _("; {count} more").format(count=len(found) - 1) if len(found) > 1 else ""
    return Line(
        word=_("HELD"),
        form="held",
        says=f"{first.words[:1].upper()}{first.words[1:]}{more}.",
        url=url if more else reverse("milk:hold", args=[first.uuid]),
        act=_("Look at what is held"),
        press=Press.TODAY,
    )


def open_holds(at: datetime) -> list[Hold]:
    """The holds nobody has ended yet, oldest first."""
    return list(Hold.objects.open().filter(happened_at__lte=at).order_by("happened_at", "id"))


def cost_of_holds(at: datetime) -> Line:
    """What the open holds are worth, by the estate's prices."""
    found = open_holds(at)
    url = reverse("milk:holds")
    if not found:
        return Line(word=_("nothing held"), form="closed", says=_("No hold is open."), url=url)
    cost = cost_together(found, at)
    worth = _(NO_PRICE_SET)
    if cost.amount is not None:
        worth = f"{amount(round(cost.amount))} {cost.currency}".strip()
    count = f"{counted(len(found), 'hold')}: {counted(cost.wheels, 'wheel')}"
    says = f"{count}, {worth}."
    return Line(word=_("HELD"), form="held", says=says, url=url)


def limits(at: datetime) -> Line:
    """How the rolling means and the series of our own milk stand."""
    in_force = Limits()
    series = series_for(at, in_force)
    found = standings(at, in_force, series)
    url = reverse("milk:quality")
    over = [one for one in found if one.verdict.is_over]
    if over:
        says = f"{over[0].verdict.words[:1].upper()}{over[0].verdict.words[1:]}"
        return Line(
            word=_("OVER"),
            form="over",
            says=f"{over[0].what}: {says}".rstrip(".") + ".",
            url=url,
            act=_("See what to do about it"),
            press=Press.TODAY,
        )
    unsure = [one for one in found if one.verdict.outcome == "not valid"]
    if unsure:
        says = f"{unsure[0].what}: {unsure[0].verdict.words}".rstrip(".") + "."
        return Line(word=_("not sure"), form="unsure", says=says, url=url)
    near = [one for one in found if one.is_near]
    if near:
        says = f"{near[0].what}: {near[0].verdict.words}".rstrip(".") + "."
        return Line(word=_("near"), form="first", says=says, url=url, press=Press.LOOK)
    return Line(word=_("kept"), form="closed", says=_("Every mean keeps its limit."), url=url)


def samples(at: datetime) -> Line:
    """Which samples of the month are still missing."""
    in_force = Limits()
    found = samplings(at, in_force, series_for(at, in_force))
    url = reverse("milk:quality")
    missing = [one for one in found if one.quota.missing]
    if not missing:
        return Line(word=_("enough"), form="closed", says=_(NONE_MISSING), url=url)
    return Line(
        word=_("missing"),
        form="first",
        says=missing[0].words,
        url=url,
        act=_("Take the samples"),
        press=Press.LOOK,
    )


def vats_today(at: datetime) -> Line:
    """How many vats were begun today, and how many of them have their wheels numbered."""
    day = timezone.localdate(at)
    vats = [vat for vat in vats_lately(day) if vat.day == day and vat.happened_at <= at]
    url = reverse("milk:vats")
    if not vats:
        return Line(word=_("none yet"), form="closed", says=_("No vat was begun today."), url=url)
    begun = counted(len(vats), "vat")
    done = sum(vat.numbered for vat in vats)  # type: ignore[attr-defined]  # annotated
    says = _("{begun} begun today, {done} with their plates.").format(begun=begun, done=done)
    return Line(word=_("vats"), form="open", says=says, url=url)


def wheels_made(at: datetime) -> Line:
    """The wheels of the last day that made any."""
    wheels = Wheel.objects.standing().filter(happened_at__lte=at)
    last = wheels.order_by("-happened_at").values("vat__day")[:1]
    row = wheels.filter(vat__day=Subquery(last)).order_by("vat__day").values_list("vat__day")
    made_on = row.annotate(Count("pk")).first()
    url = reverse("milk:wheels")
    if made_on is None:
        return Line(word=_("none yet"), form="closed", says=_("No wheel is in the book."), url=url)
    last, made = made_on
    says = _("{made} made on {day}.").format(made=counted(made, "wheel"), day=short_day(last))
    return Line(word=_("made"), form="store", says=says, url=url)


def recalls(at: datetime) -> Line:
    """Whether a real recall is running."""
    ended = RecallStep.objects.standing().filter(recall=OuterRef("pk"), what=RecallStep.What.ENDED)
    running = Recall.objects.happened_by(at).filter(drill=False).exclude(Exists(ended))
    found = list(running.order_by("happened_at", "id")[:2])
    if not found:
        url = reverse("milk:recalls")
        return Line(word=_("none"), form="closed", says=_("No recall is running."), url=url)
    more = _("; and more") if len(found) > 1 else ""
    return Line(
        word=_("RECALL"),
        form="held",
        says=_("Of {root_name}, {pieces} wheels{more}.").format(
            root_name=found[0].root_name, pieces=amount(found[0].pieces), more=more
        ),
        url=found[0].get_absolute_url(),
        act=_("Find the wheels, ring the buyers"),
        press=Press.NOW,
    )


ask({VET: 4, CHEESEMAKER: 2}, N_("Holds"), holds)
ask({STORE_HAND: 7, OFFICE: 7, OWNER: 7}, N_("Recalls"), recalls)
ask({OWNER: 1}, N_("Holds"), cost_of_holds)
ask({CHEESEMAKER: 1}, N_("Pour"), to_pour)
ask({VET: 5, OFFICE: 1, OWNER: 2}, N_("Limits"), limits)
ask({OFFICE: 2}, N_("Samples"), samples)
ask({CHEESEMAKER: 3}, N_("Vats"), fat_to_casein)
ask({CHEESEMAKER: 4}, N_("Plates"), vats_today)
ask({CHEESEMAKER: 5, STORE_HAND: 2, RELIEF: 5}, N_("Brine"), brine)
ask({STORE_HAND: 1, CHEESEMAKER: 6, RELIEF: 6}, N_("Turning"), turning)
ask({STORE_HAND: 3}, N_("Wheels to lay"), to_lay)
ask({STORE_HAND: 4, OFFICE: 3}, N_("Orders"), orders)
ask({OWNER: 3}, N_("Wheels"), wheels_made)
ask({STORE_HAND: 5}, N_("Rooms"), rooms)
ask({STORE_HAND: 6}, N_("Not found"), missing)

offer({MILKER: 1}, N_("Wrong cow in tank"), "milk:wrong-cow", "write:wrong-cows")
offer({MILKER: 2}, N_("Milk a group"), "milk:milk", "write:milkings")
offer({CHEESEMAKER: 1}, N_("Pour"), "milk:pour", "read")
offer({CHEESEMAKER: 2}, N_("Vats"), "milk:vats", "read")
offer({CHEESEMAKER: 3}, N_("Tap"), "milk:tap", "write:inspections")
offer({STORE_HAND: 1}, N_("Aisle done"), "milk:rounds", "write:store-rounds")
offer({STORE_HAND: 2}, N_("Lay or find a wheel"), "milk:store", "read")
offer({STORE_HAND: 3, OFFICE: 1, CHEESEMAKER: 6}, N_("Orders"), "milk:orders", "read")
offer({OWNER: 6}, N_("The month"), "milk:month", "read")
offer({OFFICE: 2, INSPECTOR: 1}, N_("An auditor’s month"), "milk:auditor", "read")
offer({CHEESEMAKER: 7, OWNER: 7}, N_("Recalls and drills"), "milk:recalls", "read")
offer({VET: 3}, N_("Holds"), "milk:holds", "read")
