"""Which entry a day's balance misses: a vat without filling, plates without a vat, a group."""

from collections.abc import Sequence
from statistics import median

from django.db.models import Q, Sum
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.templatetags.sheet import amount
from herd.models import Group, MilkingTime
from milk.day_balance import ASK, IN_ORDER, OPEN, UNSET, ZERO, Balance
from milk.models import Milking, Vat, VatFill, Wheel

LITTLE = N_("{kg} kg ({percent} %) are missing; up to {usual} % is usual.")
MUCH = N_("{kg} kg ({percent} %) came in and are nowhere in the book.")
NEGATIVE = N_(
    "{kg} kg more went out than came in: a milking or a delivery was not written, or one of the "
    "kg is wrong."
)
ABOUT = N_("That is about {vats} of this day's vats ({each} kg each) not written.")
ABOUT_ONE = N_("That is about one of this day's vats ({each} kg each) not written.")
NO_FILL_ONE = N_("{vats} has no filling.")
NO_FILL = N_("{vats} have no filling.")
NOT_IN_BOOK_ONE = N_("Between vats {first} and {last}, number {vats} is not in the book.")
NOT_IN_BOOK = N_("Between vats {first} and {last}, number {vats} are not in the book.")
PLATES = N_("The {number} plates after {vat}'s ({first} to {last}) have no vat.")
TWO_PLATES = N_("The two plates after {vat}'s ({first} to {last}) have no vat.")
PLATE = N_("The plate after {vat}'s ({first}) has no vat.")
NOT_MILKED = N_("No milking of group {groups} is written.")
NO_TANK = N_("{kg} kg of {milkings} name no tank and are not counted.")
# A wider gap is another series of plates, no vat that was left out.
MOST_PLATES = 8


def sentences(found: Balance) -> list[str]:
    """What is missing in words, and which entry that would be."""
    said: list[str] = []
    word = found.word
    kg, percent = amount(round(abs(found.missing))), found.percent
    if found.missing < 0 and word != IN_ORDER:
        said += [_(NEGATIVE).format(kg=kg), *groups_not_milked(found)]
    elif word in (ASK, OPEN, UNSET):
        said.append(_(MUCH).format(kg=kg, percent=percent))
        said += vats_not_written(found)
    elif found.missing and found.usual is not None:
        usual = found.usual.normalize()
        said.append(_(LITTLE).format(kg=kg, percent=percent, usual=amount(usual)))
    return [*said, *milk_without_tank(found)]


def vats_not_written(found: Balance) -> list[str]:
    """About how many vats that is, which vats have no filling, which plates no vat."""
    fills = VatFill.objects.standing().filter(
        happened_at__gte=found.since, happened_at__lt=found.until, vat__struck_at=None
    )
    by_vat = dict(fills.order_by().values_list("vat").annotate(Sum("kg")))
    vats = list(Vat.objects.standing().filter(Q(pk__in=by_vat) | begun_in(found)))
    vats.sort(key=lambda vat: (vat.day, vat.round, vat.number))
    said = []
    if by_vat:
        each = median(by_vat.values())
        number = round(found.missing / each)
        if number >= 1:
            words = _(ABOUT_ONE) if number == 1 else _(ABOUT)
            said.append(words.format(vats=number, each=amount(round(each))))
    empty = [vat for vat in vats if vat.pk not in by_vat]
    if empty:
        names = ", ".join(map(str, empty))
        words = _(NO_FILL_ONE) if len(empty) == 1 else _(NO_FILL)
        said.append(words.format(vats=capfirst(names)))
    return [*said, *numbers_left_out(vats), *plates_without_vat(vats)]


def begun_in(found: Balance) -> Q:
    return Q(happened_at__gte=found.since, happened_at__lt=found.until)


def numbers_left_out(vats: Sequence[Vat]) -> list[str]:
    """Numbers of vats between those of a round that are not in the book."""
    said = []
    for day, round_ in sorted({(vat.day, vat.round) for vat in vats}):
        there = {vat.number for vat in vats if (vat.day, vat.round) == (day, round_)}
        gone = [n for n in range(min(there), max(there)) if n not in there]
        if gone:
            said.append(
                (_(NOT_IN_BOOK) if len(gone) > 1 else _(NOT_IN_BOOK_ONE)).format(
                    first=min(there), last=max(there), vats=", ".join(map(str, gone))
                )
            )
    return said


def plates_without_vat(vats: Sequence[Vat]) -> list[str]:
    """Plates between those of one vat and those of the next, which no wheel has."""
    plates: dict[int, list[int]] = {}
    wheels = Wheel.objects.standing().filter(vat__in=vats)
    for vat, plate in wheels.values_list("vat_id", "plate"):
        if plate.isdigit():
            plates.setdefault(vat, []).append(int(plate))
    numbered = [vat for vat in vats if vat.pk in plates]
    said = []
    for vat, after in zip(numbered, numbered[1:], strict=False):
        first, last = max(plates[vat.pk]) + 1, min(plates[after.pk]) - 1
        if 0 < last - first + 1 <= MOST_PLATES:
            number = last - first + 1
            words = {1: _(PLATE), 2: _(TWO_PLATES)}.get(number, _(PLATES))
            said.append(words.format(number=number, vat=vat, first=first, last=last))
    return said


def groups_not_milked(found: Balance) -> list[str]:
    """Groups whose line goes to a tank and of which a milking of the day is not written."""
    milked = set(
        Milking.objects.standing()
        .filter(happened_at__gte=found.since, happened_at__lt=found.until)
        .values_list("group__number", "session")
    )
    planned: dict[tuple[int, str], MilkingTime] = {}
    rows = MilkingTime.objects.standing().filter(valid_from__lte=found.day, group__struck_at=None)
    rows = rows.filter(group__use__in=(Group.Use.FRESH, Group.Use.MILKING))
    for row in rows.select_related("group").order_by("valid_from", "id"):
        planned[row.group.number, row.session] = row
    gone = [
        f"{group} {row.get_session_display()}"
        for (group, session), row in sorted(planned.items())
        if (group, session) not in milked
    ]
    return [_(NOT_MILKED).format(groups=", ".join(gone))] if gone else []


def milk_without_tank(found: Balance) -> list[str]:
    """Milkings that say not where their milk went."""
    rows = Milking.objects.standing().filter(begun_in(found), tank=None).select_related("group")
    milkings = list(rows.order_by("happened_at", "id"))
    if not milkings:
        return []
    kg = sum((one.kg for one in milkings), ZERO)
    return [_(NO_TANK).format(kg=amount(round(kg)), milkings=", ".join(map(str, milkings)))]
