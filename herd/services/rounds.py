"""What is rung for before a round or a milking: doses due, doses late, bands to take off."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.language import in_estate_language
from config.models import Notice
from config.notices import close_gone, raise_notice
from config.roles import MILKER, STOCKMAN, VET
from herd.models.treatments import MayGive
from herd.next_doses import Due, due_doses
from herd.rules_in_force import BAND_OFF_BEFORE, rule_in_force
from herd.services.bands import take_off_list
from herd.words import milking_words

DUE_CAUSE, LATE_CAUSE, BANDS_CAUSE = "doses due", "doses late", "bands off"
DUE = N_("{count} due in this round: {each}.")
LATE = N_("{count} late: {each}.")
BANDS = N_("Bands off, back in the tank at {at}: {animals}.")
DUE_OTHERWISE = N_(
    "A dose more than a quarter of its interval late may not be on the leaflet any more."
)
LATE_OTHERWISE = N_("Give it, or write why it is skipped; until then the clock runs from the plan.")
BANDS_OTHERWISE = N_("With the band on she is milked away again, for nothing.")
FEW = 6


@in_estate_language()
def ring_for_rounds(at: datetime) -> dict[str, int]:
    """Ring for doses due and late and for bands, one bundle each; close what is done.

    How long before and after stands in dated rules. Without the first a dose rings when it is due,
    without the second none is called late.
    """
    due = due_doses(at)
    overdue = [one for one, late in due if late]
    soon = [one for one, late in due if not late]
    counted = {
        "due": ring_for_doses(DUE_CAUSE, _(DUE), soon, _(DUE_OTHERWISE)),
        "late": ring_for_doses(LATE_CAUSE, _(LATE), overdue, _(LATE_OTHERWISE)),
        "bands": ring_for_bands(at),
    }
    close_past_moves(at)
    return counted


def ring_for_doses(cause: str, words: str, due: list[Due], otherwise: str) -> int:
    """One notice for the vet and one for the stockmen, each of the doses they may give."""
    theirs = [one for one in due if one.course.may_give != MayGive.VET]
    for role, doses in ((VET, due), (STOCKMAN, theirs)):
        key = f"{cause}:{role}"
        if doses:
            raise_notice(
                cause=key,
                role=role,
                what=_(words).format(count=counted(doses), each=said(doses)),
                where=", ".join(dict.fromkeys(str(one.group) for one in doses)),
                otherwise=_(otherwise),
                until=min(one.at for one in doses),
                url=reverse("herd:list", args=("doses",)),
            )
        else:
            close_gone(key, still=())
    return len(due)


def counted(doses: list[Due]) -> str:
    return ngettext("{count} dose", "{count} doses", len(doses)).format(count=len(doses))


def said(doses: list[Due]) -> str:
    """The doses in the order of the walk; of many the first."""
    each = [
        f"{one.course.animal} ({one.group}) {one.words}, {milking_words(one.at)}"
        for one in doses[:FEW]
    ]
    more = len(doses) - FEW
    return "; ".join([*each, _("and {more} more").format(more=more)] if more > 0 else each)


def ring_for_bands(at: datetime) -> int:
    """One notice with the animals whose band comes off for the milking that starts next."""
    minutes = rule_in_force(BAND_OFF_BEFORE, at)
    until = at + timedelta(minutes=float(minutes or 0))
    found = take_off_list(at, until)
    still = set()
    for first, animals in by_milking(found):
        cause = f"{BANDS_CAUSE}:{first.isoformat()}"
        still.add(cause)
        words = _(BANDS).format(at=milking_words(first), animals=", ".join(animals))
        for role in (VET, MILKER):
            raise_notice(
                cause=cause,
                role=role,
                what=words,
                where=_("{count} back at this milking").format(count=len(animals)),
                otherwise=_(BANDS_OTHERWISE),
                until=first,
                url=reverse("herd:list", args=("back",)),
            )
    close_gone(f"{BANDS_CAUSE}:", still=still, at=at)
    return len(found)


def by_milking(found: Iterable[tuple[object, datetime]]) -> list[tuple[datetime, list[str]]]:
    """Names by the milking they are back at."""
    names: dict[datetime, list[str]] = {}
    for animal, first in found:
        names.setdefault(first, []).append(str(animal))
    return sorted(names.items())


def close_past_moves(at: datetime) -> int:
    """Close the notices of moved animals that are back in the tank by now."""
    moved = Notice.objects.filter(closed_at=None, cause__startswith="moved:", until__lte=at)
    return moved.update(closed_at=timezone.now())
