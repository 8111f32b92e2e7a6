"""What stands on the fields: free or not, since when uncut, how many kilos, what to think of."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from math import asin, cos, radians, sin, sqrt

from django.db.models import OuterRef, Subquery
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from config.days import local_day
from feed.dry_matter import Grass
from feed.models import Field, FieldWalk, FieldWork, ForageBatch, WaitRule
from feed.models.batches import last_cut
from feed.services.figures import values_on

EARTH_KM = 6371.0
NEVER = date.min


@dataclass(frozen=True, kw_only=True)
class Stand:
    """One field at a moment. ``free_on``: the day it is free; None when it is free already.

    ``standing_kg``: fresh kilos the mower would take, from the newest walk less what was cut since;
    None when nobody walked it lately or no grass was ever sampled. ``cautions``: what to think of
    before it is cut, in words.
    """

    field: Field
    free_on: date | None
    last_cut: datetime | None
    walk: FieldWalk | None
    standing_kg: Decimal | None
    cautions: tuple[str, ...] = ()

    @property
    def is_free(self) -> bool:
        return self.free_on is None

    @property
    def tonnes(self) -> Decimal | None:
        """What stands there in fresh tonnes; None when nobody knows."""
        return None if self.standing_kg is None else self.standing_kg / 1000

    def km_from(self, other: Field) -> float | None:
        """Kilometres between the middles of two fields; None when one is not on the map."""
        return km_between(self.field, other)


def stands(at: datetime, on: date) -> list[Stand]:
    """Every field as known at ``at`` for a cut on a day: free ones first, the longest uncut first.

    Nine statements, however many fields.
    """
    # A walk of longer ago says little about what stands there.
    days = values_on(local_day(at), "walked_within")["walked_within"]
    newest = FieldWalk.objects.happened_by(at).filter(
        field=OuterRef("pk"), happened_at__gt=at - timedelta(days=float(days))
    )
    fields = list(
        Field.objects.standing()
        .with_free_on(at, on)
        .annotate(
            cut_at=last_cut(at), walked=Subquery(newest.order_by("-happened_at").values("pk")[:1])
        )
    )
    walks = FieldWalk.objects.in_bulk([one.walked for one in fields if one.walked])
    grass, cut, cautions = Grass(at, at).at(at), cut_since(walks.values(), at), cautions_on(at, on)
    found = []
    for one in fields:
        walk = walks.get(one.walked)
        kg = None
        if walk is not None and grass is not None:
            kg = walk.cover * one.hectares / grass.percent * 100 - cut[one.pk]
        found.append(
            Stand(
                field=one,
                free_on=one.free_on,
                last_cut=one.cut_at,
                walk=walk,
                standing_kg=None if kg is None else max(kg, Decimal(0)),
                cautions=tuple(cautions[one.pk]),
            )
        )
    return sorted(found, key=place)


def place(stand: Stand) -> tuple[date, bool, float, str]:
    """Where a field stands in the list: free ones first, then never cut, then longest uncut."""
    cut = stand.last_cut
    return stand.free_on or NEVER, cut is not None, cut.timestamp() if cut else 0, stand.field.name


def nearest_first(free: Iterable[Stand], to: Field) -> list[Stand]:
    """Fields by how near they are to another; those that are not on the map last, as they were."""
    return sorted(free, key=lambda stand: far(stand.km_from(to)))


def far(km: float | None) -> float:
    return float("inf") if km is None else km


def km_between(one: Field, other: Field) -> float | None:
    """Kilometres over the ground between the middles of two fields (haversine, mean radius)."""
    places = (one.latitude, one.longitude, other.latitude, other.longitude)
    if any(value is None for value in places):
        return None
    north, east, north_too, east_too = (
        radians(float(value)) for value in places if value is not None
    )
    half = sin((north_too - north) / 2) ** 2
    half += cos(north) * cos(north_too) * sin((east_too - east) / 2) ** 2
    return 2 * EARTH_KM * asin(sqrt(half))


def cut_since(walks: Iterable[FieldWalk], at: datetime) -> dict[int, Decimal]:
    """Kilos cut of each walked field since its walk."""
    walked = {walk.field_id: walk.happened_at for walk in walks}
    found: dict[int, Decimal] = defaultdict(Decimal)
    if walked:
        loads = ForageBatch.objects.happened_by(at).filter(
            field__in=walked, happened_at__gt=min(walked.values())
        )
        for field, cut_at, kg in loads.values_list("field", "happened_at", "kg"):
            if cut_at > walked[field]:
                found[field] += kg
    return found


def cautions_on(at: datetime, on: date) -> dict[int, list[str]]:
    """By field, what to think of before it is cut on a day: the estate's days of caution."""
    rules: dict[str, WaitRule] = {}
    for rule in WaitRule.objects.standing().filter(valid_from__lte=on).order_by("valid_from"):
        rules[rule.what] = rule
    rules = {what: rule for what, rule in rules.items() if rule.caution_days}
    found: dict[int, list[str]] = defaultdict(list)
    if not rules:
        return found
    longest = timedelta(days=max(rule.caution_days for rule in rules.values()) + 1)
    works = FieldWork.objects.happened_by(at).filter(what__in=rules, happened_at__gt=at - longest)
    for work in works.order_by("happened_at", "pk"):
        rule, days = rules[work.what], (on - local_day(work.happened_at)).days
        if 0 <= days < rule.caution_days:
            ago = ngettext("{count} day ago", "{count} days ago", days).format(count=days)
            ago = ago if days else _("today")
            found[work.field_id].append(f"{work.get_what_display()} {ago}: {rule.caution}")
    return found
