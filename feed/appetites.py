"""What the cows of a group are expected to eat: their mean milk, weight and days in milk."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Min
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import start_of
from feed.appetite import Cow, expected, implausible, least_fibre, water_litres
from feed.fed import Portion
from feed.models import AirHour, FeedLot
from feed.ration import FORAGE
from feed.services.figures import values_on
from herd.models import Calving, Group, GroupStay, Recording

IN_MILK = (Group.Use.FRESH, Group.Use.MILKING, Group.Use.HOSPITAL)
NO_WEIGHT = N_("No body weight is set among the feed figures.")
NO_WEEK = N_(
    "Neither when these cows calved nor the fibre of all they eat is written; an equation needs "
    "one of them."
)
NO_MILK = N_("No recording of the last {days} days says how much milk these cows give.")
FIGURES_USED = (
    "body_weight",
    "grass_fibre",
    "fibre_known",
    "sodium_fed",
    "recorded_within",
    "lactation_most",
)


@dataclass(frozen=True, kw_only=True)
class Appetite:
    """The mean cow of a group, of how many, and what published equations expect her to eat.

    ``expected``: (source, kg of dry matter a day). ``cautions``: why less is to be expected of it;
    ``missing``: why there is none. ``least_fibre``: the least of it in % of dry matter, for so much
    from forage. ``sodium_g`` a cow and ``coldest`` air of the day in °C: what water is told from.
    """

    cow: Cow | None
    n: int
    expected: list[tuple[str, float]] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    missing: str = ""
    least_fibre: float | None = None
    sodium_g: float | None = None
    coldest: float | None = None

    @property
    def short_of_fibre(self) -> bool:
        """Whether the ration holds less fibre than the least for its forage."""
        cow, least = self.cow, self.least_fibre
        return bool(cow and cow.fibre is not None and least is not None and cow.fibre < least)

    def water_litres(self, dry_matter_kg: float) -> float | None:
        """Litres of water a cow and day at that intake; None when something of it is not known."""
        if self.cow is None or self.sodium_g is None or self.coldest is None:
            return None
        return water_litres(
            dry_matter_kg=dry_matter_kg,
            milk_kg=self.cow.milk_kg,
            sodium_g=self.sodium_g,
            coldest=self.coldest,
        )


def appetites(
    groups: Iterable[Group], at: datetime, fed: Sequence[Portion], day: date
) -> dict[int, Appetite]:
    """By group (key) in milk, what its mean cow is expected to eat. Five statements."""
    in_milk = [group.pk for group in groups if group.use in IN_MILK]
    if not in_milk:
        return {}
    figures = values_on(day, *FIGURES_USED)
    weight = figures.get("body_weight")
    if weight is None:
        return {group: Appetite(cow=None, n=0, missing=_(NO_WEIGHT)) for group in in_milk}
    stays = GroupStay.objects.at(at).filter(group__in=in_milk)
    group_of = dict(stays.values_list("animal", "group"))
    milk = milk_of(group_of, at, days_of(figures, "recorded_within"))
    weeks = weeks_of(group_of, at, days_of(figures, "lactation_most"))
    sodium, coldest = figures.get("sodium_fed"), coldest_of(day)
    found = {}
    for group in in_milk:
        cows = [animal for animal, of in group_of.items() if of == group]
        fibre, from_forage = fibre_of(fed, group, day, figures)
        one = appetite(
            float(weight),
            [milk[animal] for animal in cows if animal in milk],
            [weeks[animal] for animal in cows if animal in weeks],
            fibre,
            _(NO_MILK).format(days=f"{figures['recorded_within']:g}"),
        )
        found[group] = replace(
            one,
            least_fibre=None if from_forage is None else least_fibre(from_forage),
            sodium_g=None if sodium is None else float(sodium),
            coldest=coldest,
        )
    return found


def coldest_of(day: date) -> float | None:
    """The lowest air temperature of a day by the hourly weather, in °C; None without any."""
    hours = AirHour.objects.standing().filter(
        hour__gte=start_of(day), hour__lt=start_of(day + timedelta(days=1))
    )
    coldest: Decimal | None = hours.aggregate(least=Min("celsius"))["least"]
    return None if coldest is None else float(coldest)


def days_of(figures: dict[str, Decimal], name: str) -> timedelta:
    return timedelta(days=float(figures[name]))


def appetite(
    body_kg: float,
    milk: Sequence[tuple[float, float]],
    weeks: Sequence[float],
    fibre: float | None,
    no_milk: str,
) -> Appetite:
    """Of (milk in kg a day, fat in %) and the weeks in milk of the cows that have them.

    ``no_milk``: what to say when none has milk.
    """
    if not milk:
        return Appetite(cow=None, n=0, missing=no_milk)
    kg = sum(one for one, _ in milk)
    if not weeks and fibre is None:
        return Appetite(cow=None, n=len(milk), missing=_(NO_WEEK))
    cow = Cow(
        body_kg=body_kg,
        milk_kg=kg / len(milk),
        fat=sum(one * fat for one, fat in milk) / kg,
        week=sum(weeks) / len(weeks) if weeks else None,
        fibre=fibre,
    )
    return Appetite(cow=cow, n=len(milk), expected=expected(cow), cautions=list(implausible(cow)))


def milk_of(
    animals: Iterable[int], at: datetime, within: timedelta
) -> dict[int, tuple[float, float]]:
    """By animal, kg of milk and fat in % of her latest recording day with both, ``within`` of at.

    A recording of longer ago says little about today's milk.
    """
    rows = (
        Recording.objects.standing()
        .filter(animal__in=list(animals), milk_kg__gt=0, fat__gt=0)
        .filter(happened_at__lte=at, happened_at__gt=at - within)
        .order_by("happened_at")
        .values_list("animal", "happened_at", "session", "milk_kg", "fat")
    )
    days: dict[int, dict[date, dict[str, tuple[float, float]]]] = defaultdict(
        lambda: defaultdict(dict)
    )
    for animal, moment, session, kg, fat in rows:
        days[animal][moment.date()][session] = (float(kg), float(fat))
    found = {}
    for animal, by_day in days.items():
        for sessions in by_day.values():
            # The whole day as one row, or its two milkings; one of them alone is half a day.
            both = [sessions[""]] if "" in sessions else list(sessions.values())
            if "" in sessions or len(both) > 1:
                kg = sum(one for one, _ in both)
                found[animal] = (kg, sum(one * fat for one, fat in both) / kg)
    return found


def weeks_of(animals: Iterable[int], at: datetime, most: timedelta) -> dict[int, float]:
    """By animal, weeks since she calved last, not rounded; ``most``: the longest lactation."""
    calvings = (
        Calving.objects.standing()
        .filter(dam__in=list(animals), happened_at__lte=at)
        .filter(happened_at__gt=at - most)
        .order_by("dam", "-happened_at")
        .distinct("dam")
    )
    week = timedelta(weeks=1)
    return {dam: (at - calved) / week for dam, calved in calvings.values_list("dam", "happened_at")}


def fibre_of(
    fed: Iterable[Portion], group: int, day: date, figures: dict[str, Decimal]
) -> tuple[float, float] | tuple[None, None]:
    """Fibre of a group's ration, and that from its forage, both in % of all its dry matter.

    None when too little of it is known.
    """
    grass, least = figures.get("grass_fibre"), figures["fibre_known"] / 100
    dry, known, fibre, forage = (Decimal(0) for _ in range(4))
    for portion in fed:
        if portion.group != group or portion.day != day:
            continue
        kg = sum((feed.dry_matter_kg for feed in portion.offered), Decimal(0))
        percent = portion.thing.fibre if isinstance(portion.thing, FeedLot) else grass
        dry += kg
        if percent is not None:
            known += kg
            fibre += kg * percent
            forage += kg * percent if is_forage(portion) else 0
    if not dry or known < least * dry:
        return None, None
    return float(fibre / known), float(forage / known)


def is_forage(portion: Portion) -> bool:
    """Whether a portion is grass or hay."""
    return not isinstance(portion.thing, FeedLot) or portion.thing.kind in FORAGE
