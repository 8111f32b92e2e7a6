"""What the store answers on the day sheets, in a line each."""

from datetime import datetime

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from config.day_sheet import Line, Press
from config.templatetags.sheet import amount
from milk.climate import rooms_now
from milk.models import WheelPlace


def rooms(at: datetime) -> Line | None:
    """Rooms out of their climate; None when all are in it."""
    out = [room for room in rooms_now(at) if room.out_since is not None]
    if not out:
        return None
    return Line(
        word=_("OUT OF BAND"),
        form="over",
        says="; ".join(f"{room.room}: {room.answer}" for room in out) + ".",
        url=reverse("milk:rounds"),
        act=_("Look at the doors and the cooling"),
        press=Press.TODAY,
    )


def missing(at: datetime) -> Line | None:
    """Wheels that were not found, or of which two lie on one shelf by the book."""
    What = WheelPlace.What
    number = WheelPlace.objects.filter(what__in=(What.LOST, What.DOUBT), at__lte=at).count()
    if not number:
        return None
    return Line(
        word=_("NOT FOUND"),
        form="not",
        says=ngettext("{number} wheel to look for.", "{number} wheels to look for.", number).format(
            number=amount(number)
        ),
        url=reverse("milk:store"),
        act=_("Look for wheels that were not found"),
        press=Press.LOOK,
    )
