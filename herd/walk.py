"""The lists people walk through the barn with: each row one animal and one reason.

Groups come in the order of the walk, animals by farm number. Read live; the moment is an argument.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cached_property, partial
from uuid import UUID

from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import day_words, local
from herd.breeding import (
    DOUBT,
    OPEN,
    SERVED,
    DryOffPlan,
    Life,
    Rules,
    Standing,
    dry_off_plan,
    standing,
)
from herd.breeding_rules import CALF_TAG, rules_of, values_on
from herd.coming_back import coming_back
from herd.dry_tubes import DryTube, dry_tubes, fits
from herd.hints import little_milk, treated_unmarked
from herd.lives import lives
from herd.models import Animal, Calf, Course, Group, GroupStay
from herd.models.animals import called
from herd.next_doses import Due, due_doses
from herd.withheld import Answer, withheld_list

COLUMNS = (
    "animal_id",
    "animal__uuid",
    "animal__farm_number",
    "animal__ear_tag",
    "animal__sex",
    "group__number",
    "group__use",
)
# A heat is followed by the next after one cycle; so long after one it is said when.
HEAT_SAID_FOR = 30


@dataclass(frozen=True, slots=True)
class Place:
    """An animal where she stands, in the order of the walk."""

    animal_id: int
    uuid: UUID
    farm_number: int | None
    ear_tag: str
    sex: str
    group: int
    use: str

    @property
    def name(self) -> str:
        """What people call her."""
        return called(self.farm_number, self.ear_tag)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a list: who, where, why, and until or from when (None: no moment).

    ``course``: whose next dose is to be given. The words of ``why`` are made when somebody reads
    them: of hundreds of rows a page shows a few.
    """

    uuid: UUID
    name: str
    group: int
    words: str | Callable[[], str]
    at: datetime | date | None = None
    state: str = ""
    course: Course | None = None

    @property
    def why(self) -> str:
        """The one reason, in words."""
        return self.words if isinstance(self.words, str) else self.words()


class Walk:
    """What the lists are made of at a moment; each part is read once, when a list asks for it."""

    def __init__(self, at: datetime) -> None:
        self.at = at
        self.today = timezone.localdate(at)

    @cached_property
    def places(self) -> list[Place]:
        """Every animal that stands in a group, in walking order."""
        rows = GroupStay.objects.at(self.at).filter(group__isnull=False)
        rows = rows.order_by(
            F("group__walk_place").asc(nulls_last=True),
            "group__number",
            "animal__farm_number",
            "animal__ear_tag",
        )
        return [Place(*row) for row in rows.values_list(*COLUMNS)]

    @cached_property
    def cows(self) -> list[Place]:
        """The females among them."""
        return [place for place in self.places if place.sex == Animal.Sex.FEMALE]

    @cached_property
    def answers(self) -> dict[int, Answer]:
        """TANK or NOT of every animal."""
        return {answer.animal_id: answer for answer in withheld_list(self.at)}

    @cached_property
    def milked(self) -> list[int]:
        """The animals in groups that are milked."""
        return [animal for animal, answer in self.answers.items() if answer.is_milked]

    @cached_property
    def lives(self) -> dict[int, Life]:
        return lives([cow.animal_id for cow in self.cows], self.at)

    @cached_property
    def standings(self) -> dict[int, Standing]:
        """Where each female stands between two calvings."""
        return {
            animal: standing(life, self.today, self.rules) for animal, life in self.lives.items()
        }

    @cached_property
    def values(self) -> dict[str, Decimal]:
        """The dated rules in force, by name."""
        return values_on(self.today)

    @cached_property
    def rules(self) -> Rules:
        """The rules of breeding. Raises Conflict naming those that are missing."""
        return rules_of(self.values, self.today)

    @cached_property
    def tubes(self) -> list[DryTube]:
        return dry_tubes(self.today)

    def each(self) -> Iterator[tuple[Place, Standing]]:
        """Every female with where she stands."""
        for cow in self.cows:
            place = self.standings.get(cow.animal_id)
            if place is not None:
                yield cow, place

    def days_to(self, day: date) -> int:
        return (day - self.today).days


def row(
    place: Place, why: str | Callable[[], str], at: datetime | date | None = None, state: str = ""
) -> Row:
    """A line of a list."""
    return Row(place.uuid, place.name, place.group, why, at, state)


def withheld(walk: Walk) -> list[Row]:
    """Animals in groups that are milked whose milk is NOT for the tank."""
    found = []
    for place in walk.places:
        answer = walk.answers.get(place.animal_id)
        if answer is not None and answer.withheld and answer.is_milked:
            why = answer.why[0] if answer.why else _("not known")
            found.append(row(place, why, answer.back or answer.until, "not"))
    return found


def back(walk: Walk) -> list[Row]:
    """Animals whose first milking back in the tank is the next one of their group."""
    upcoming = coming_back(walk.at, walk.answers.values())
    return [
        row(
            place,
            _("TANK again from {upcoming}, band off").format(
                upcoming=local(upcoming[place.animal_id])
            ),
            upcoming[place.animal_id],
            "tank",
        )
        for place in walk.places
        if place.animal_id in upcoming
    ]


def to_mark(walk: Walk) -> list[Row]:
    """Treated animals in groups that are milked, with no leg band written."""
    return hinted(walk, treated_unmarked(walk.at, walk.milked))


def little(walk: Walk) -> list[Row]:
    """TANK cows that give hardly any milk: a hint, she stays TANK."""
    found = little_milk(walk.at, walk.milked)
    out = {animal for animal, answer in walk.answers.items() if answer.withheld}
    return hinted(walk, {animal: why for animal, why in found.items() if animal not in out})


def hinted(walk: Walk, why: dict[int, str]) -> list[Row]:
    """The lines of these animals, in walking order."""
    return [row(place, why[place.animal_id]) for place in walk.places if place.animal_id in why]


def doses(walk: Walk) -> list[Row]:
    """Doses to be given in this round, and those that are late."""
    places = {place.animal_id: place for place in walk.places}
    return [dose_row(places[due.course.animal_id], due, late) for due, late in due_doses(walk.at)]


def dose_row(place: Place, due: Due, late: bool) -> Row:
    """The line of a dose that is due."""

    def words() -> str:
        said = f"{due.words}, {local(due.at)}"
        return f"{said}, {_('late')}" if late else said

    return replace(row(place, words, due.at), course=due.course)


def fresh(walk: Walk) -> list[Row]:
    """Cows that calved in the last days."""
    found = []
    for cow, place in walk.each():
        if place.calved is None:
            continue
        days = (walk.today - place.calved).days
        if days <= walk.rules.fresh:
            found.append(row(cow, partial(fresh_words, days), place.calved))
    return found


def fresh_words(days: int) -> str:
    """How long ago a cow calved."""
    return _("day {days} after calving").format(days=days) if days else _("calved today")


def to_serve(walk: Walk) -> list[Row]:
    """Cows past their waiting days that are not served, or were found empty."""
    found = []
    for cow, place in walk.each():
        if place.state != OPEN or not place.serve or place.calved is None or place.dry_since:
            continue
        days = (walk.today - place.calved).days
        if days >= walk.rules.waiting:
            found.append(row(cow, partial(serve_words, place, days, walk), place.heat))
    return found


def serve_words(place: Standing, days: int, walk: Walk) -> str:
    """Why a cow is to be served so many days after calving."""
    checked = place.check is not None and place.services
    words = (
        _("empty at the check of {on}").format(on=day_words(place.check.on))
        if checked and place.check
        else ""
    )
    words = words or _("day {days} after calving, not served").format(days=days)
    return f"{words}; {heat_words(place.heat, walk)}".removesuffix("; ")


def heat_words(heat: date | None, walk: Walk) -> str:
    """When she was seen in heat and will be again; "" when that is long ago."""
    if heat is None or (walk.today - heat).days > HEAT_SAID_FOR:
        return ""
    again = heat + timedelta(days=walk.rules.period)
    return _("in heat {heat}, again about {again}").format(
        heat=day_words(heat), again=day_words(again)
    )


def to_check(walk: Walk) -> list[Row]:
    """Cows served long enough ago to be looked at, and those a check left in doubt."""
    found = []
    for cow, place in walk.each():
        if place.state != SERVED or not place.services:
            continue
        served = place.services[-1]
        days = (walk.today - served).days
        if place.check is not None and place.check.result == DOUBT and place.check.on > served:
            found.append(row(cow, partial(doubt_words, place.check.on), served))
        elif days >= walk.rules.check_from:
            overdue = days > walk.rules.check_until
            found.append(row(cow, partial(check_words, served, days, overdue), served))
    return found


def doubt_words(on: date) -> str:
    """Why a cow that a check left in doubt is looked at again."""
    return _("in doubt on {on}: look again").format(on=day_words(on))


def check_words(served: date, days: int, overdue: bool) -> str:
    """Why a cow that was served is looked at."""
    late = _(", overdue") if overdue else ""
    words = _("served {served}, {days} days ago{late}")
    return words.format(served=day_words(served), days=days, late=late)


def to_dry_off(walk: Walk) -> list[Row]:
    """Cows whose dry-off round comes within the days listed ahead, or is past."""
    found = []
    for cow, place in walk.each():
        plan = dry_off_plan(place, walk.today, walk.rules)
        if plan is None or walk.days_to(plan.on) > walk.rules.ahead:
            continue
        if walk.days_to(plan.by) > walk.rules.ahead + 7:
            continue
        found.append(row(cow, partial(dry_words, plan, place.sure, walk), plan.on))
    return found


def dry_words(plan: DryOffPlan, known: bool, walk: Walk) -> str:
    """When a cow is due and how long she will be dry, and which tube fits."""
    sure = "" if known else _(", not checked in calf")
    words = _("due {due}{sure}; {on}: {days} days dry").format(
        due=day_words(plan.due), sure=sure, on=day_words(plan.on), days=plan.days
    )
    return f"{words}; {fits(plan, walk.tubes, walk.rules.margin)}"


def to_calve(walk: Walk) -> list[Row]:
    """Animals expected to calve within the days listed ahead, and those past their day."""
    found = []
    for cow, place in walk.each():
        if not place.due or walk.days_to(place.due[0]) > walk.rules.due_ahead:
            continue
        found.append(row(cow, partial(calve_words, cow, place.due, walk), place.due[0]))
    return found


def calve_words(cow: Place, due: Sequence[date], walk: Walk) -> str:
    """When an animal is expected to calve, and whether she stands where she should."""
    both = " or ".join(day_words(day) for day in due)
    moved = "" if cow.use in (Group.Use.CLOSE_UP, Group.Use.FRESH) else _(", not in close-up yet")
    return _("expected {both} (± {spread} days){moved}").format(
        both=both, spread=walk.rules.spread, moved=moved
    )


def calves_to_tag(walk: Walk) -> list[Row]:
    """Calves alive that are not in the book under a tag of their own, at their dams."""
    within = walk.values.get(CALF_TAG)
    places = {place.animal_id: place for place in walk.places}
    untagged = (
        Calf.objects.standing()
        .filter(animal=None, alive=True, happened_at__lte=walk.at, calving__struck_at=None)
        .order_by("happened_at")
    )
    found = []
    for dam, born in untagged.values_list("calving__dam_id", "happened_at"):
        if dam in places:
            by = "" if within is None else tag_by(born, int(within))
            found.append(
                row(
                    places[dam],
                    _("calf born {born} has no tag{by}").format(born=local(born), by=by),
                    born,
                )
            )
    order = {place.uuid: number for number, place in enumerate(walk.places)}
    return sorted(found, key=lambda line: order[line.uuid])


def tag_by(born: datetime, days: int) -> str:
    """Until which day a calf is to be tagged, in words."""
    return _(", to be tagged by {localdate}").format(
        localdate=day_words(timezone.localdate(born) + timedelta(days=days))
    )


# Name in addresses, title, what is listed.
LISTS: dict[str, tuple[str, Callable[[Walk], list[Row]]]] = {
    "withheld": (N_("NOT in the tank"), withheld),
    "to-mark": (N_("Mark her: treated, no leg band written"), to_mark),
    "little-milk": (N_("Hardly any milk: look at her"), little),
    "back": (N_("Back in the tank at the next milking"), back),
    "doses": (N_("Doses due"), doses),
    "fresh": (N_("Fresh cows to look at"), fresh),
    "to-serve": (N_("To serve"), to_serve),
    "to-check": (N_("To check"), to_check),
    "to-dry-off": (N_("To dry off"), to_dry_off),
    "to-calve": (N_("To calve soon"), to_calve),
    "calves-to-tag": (N_("Calves to tag"), calves_to_tag),
}
