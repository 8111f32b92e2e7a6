"""The milk's steps of the first day: tanks, the results of three months, the store."""

from datetime import datetime, timedelta

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.first_day import Held, Step, brings_rules, file_of, new, step
from milk.models import LotTest, StorePlace, Tank, WheelPlace
from milk.reference import load_reference

TANKS, RESULTS, STORE = 30, 60, 70
# The rolling means are of two and of three months.
MONTHS = timedelta(days=92)


def tanks(at: datetime) -> Held:
    count = Tank.objects.standing().count()
    return Held(bool(count), _("{count} tanks.").format(count=count))


def results(at: datetime) -> Held:
    """Whether results of the last three months are in."""
    count = LotTest.objects.standing().filter(happened_at__gt=at - MONTHS).count()
    return Held(bool(count), _("{count} results of the last three months.").format(count=count))


def store(at: datetime) -> Held:
    """How many wheels of the store have been found and written."""
    places = StorePlace.objects.standing().count()
    lying = WheelPlace.objects.filter(what=WheelPlace.What.STORE).count()
    says = _("{places} places, {lying} wheels on them.")
    return Held(bool(lying), says.format(places=places, lying=lying))


brings_rules(load_reference)
step(
    TANKS,
    Step(
        name=_l("Tanks"),
        why=_l("Where the milk of each group goes; from the next milking on the lots are known."),
        read=tanks,
        address=lambda: new("tanks"),
        act=_l("Write a tank"),
        action="write:tanks",
        needed=False,
    ),
)
step(
    RESULTS,
    Step(
        name=_l("Results of the last three months"),
        why=_l("So that the rolling means are valid from the first day on."),
        read=results,
        address=lambda: file_of("lot-tests"),
        act=_l("Take in a laboratory's file"),
        action="take in files",
        needed=False,
    ),
)
step(
    STORE,
    Step(
        name=_l("The store, counted"),
        why=_l("Aisle by aisle, while the work goes on: the places first, then the count."),
        read=store,
        address=lambda: reverse("milk:store"),
        act=_l("Open the store"),
        action="read",
        needed=False,
    ),
)
