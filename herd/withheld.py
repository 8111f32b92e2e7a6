"""Which animals' milk may go into the tank at a moment, and which may not: TANK or NOT, and why.

Read live from the standing entries, in a few statements for the whole herd; nothing is kept, so no
job can be late. Not knowing is NOT.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib.postgres.fields.ranges import RangeEndsWith, RangeStartsWith
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from psycopg.types.range import TimestamptzRange

from config.days import estate_zone
from config.once_a_page import once_a_page
from herd.models import Animal, Group, GroupStay, WithdrawalPeriod
from herd.models.animals import called
from herd.planned import Span, Stands, back_in_tank
from herd.services.withdrawals import times_by_group

TANK, NOT = "TANK", "NOT"
NOT_MILKED = (Group.Use.DRY, Group.Use.CLOSE_UP, Group.Use.YOUNG)

NO_MILK_THERE = N_("stands in a group that is not milked")
FREE_IN_HOSPITAL = N_("free; move her out of the hospital group")

STAY_COLUMNS = (
    "animal_id",
    "animal__uuid",
    "animal__farm_number",
    "animal__ear_tag",
    "group_id",
    "group__number",
    "group__use",
)


@dataclass(frozen=True, slots=True)
class Answer:
    """One animal's answer at a moment.

    ``until``: when everything that withholds her has run out, None when nobody knows (or she is
    TANK). ``back``: the first planned milking of her group from then on, None without a plan.
    ``why``: the reasons, the one that lasts longest first.
    """

    animal_id: int
    uuid: UUID
    farm_number: int | None
    ear_tag: str
    group_id: int
    group: int
    use: str
    withheld: bool
    until: datetime | None = None
    back: datetime | None = None
    why: tuple[str, ...] = ()

    @property
    def word(self) -> str:
        return NOT if self.withheld else TANK

    @property
    def name(self) -> str:
        """What people call her."""
        return called(self.farm_number, self.ear_tag)

    @property
    def is_milked(self) -> bool:
        """Whether her group is milked at all."""
        return self.use not in NOT_MILKED


@dataclass
class Reasons:
    """What keeps one animal's milk out: every span from the moment on, and words for those now."""

    spans: list[Span] = field(default_factory=list)
    words: list[tuple[datetime | None, str]] = field(default_factory=list)

    def why(self) -> tuple[str, ...]:
        """The words, what lasts longest first; those without an end by the alphabet."""
        open_ended = sorted(words for until, words in self.words if until is None)
        ended = sorted(((until, words) for until, words in self.words if until), reverse=True)
        return (*open_ended, *(words for _, words in ended))


def withheld_list(
    at: datetime, *, animals: Iterable[int] | None = None, group: int | None = None
) -> list[Answer]:
    """The answer for every animal that stands in a group at ``at``, by group and farm number.

    ``animals`` (ids) and ``group`` (its number) narrow it. Four statements at most.
    """
    if animals is None and group is None:
        return list(everyone(at))
    return answers_at(at, animals, group)


@once_a_page
def everyone(at: datetime) -> list[Answer]:
    """The whole list of a moment: a day sheet asks for it in several of its lines."""
    return answers_at(at, None, None)


def answers_at(at: datetime, animals: Iterable[int] | None, group: int | None) -> list[Answer]:
    """The list, narrowed or not."""
    stays = GroupStay.objects.at(at).filter(group__isnull=False)
    if animals is not None:
        stays = stays.filter(animal__in=list(animals))
    if group is not None:
        stays = stays.filter(group__number=group)
    stays = stays.order_by("group__number", "animal__farm_number", "animal__ear_tag")
    rows = list(stays.values_list(*STAY_COLUMNS))
    narrowed = animals is not None or group is not None
    reasons = reasons_at(at, [row[0] for row in rows] if narrowed else None)
    stands = {group_id: (Stands(at, None, times),) for group_id, times in times_by_group().items()}
    return [answer_of(at, row, reasons.get(row[0]), stands.get(row[4], ())) for row in rows]


def answer_of(
    at: datetime,
    row: tuple[int, UUID, int | None, str, int, int, str],
    reasons: Reasons | None,
    stands: tuple[Stands, ...],
) -> Answer:
    """The answer of one row of the list."""
    use = row[6]
    if reasons:
        until, back = back_in_tank(at, reasons.spans, stands, estate_zone())
        return Answer(*row, True, until, back, reasons.why())
    if use in NOT_MILKED:
        return Answer(*row, True, why=(_(NO_MILK_THERE),))
    return Answer(*row, False, why=(_(FREE_IN_HOSPITAL),) if use == Group.Use.HOSPITAL else ())


def reasons_at(at: datetime, animals: list[int] | None = None) -> dict[int, Reasons]:
    """What withholds at ``at``, by animal; animals that are free are left out."""
    running = WithdrawalPeriod.objects.at(at)
    if animals is not None:
        running = running.filter(animal__in=animals)
    found: dict[int, Reasons] = defaultdict(Reasons)
    # The bounds apart, here and below: reading ranges takes longer than all the rest.
    for animal, until, why in running.values_list("animal_id", RangeEndsWith("during"), "why"):
        found[animal].words.append((until, why))
    # What begins before the first ends counts as well: a second course keeps her out further. Of
    # the animals found only, for years ago nearly every period ends later.
    later = WithdrawalPeriod.objects.filter(
        animal__in=list(found), during__overlap=TimestamptzRange(at, None)
    )
    bounds = RangeStartsWith("during"), RangeEndsWith("during")
    for animal, since, until in later.values_list("animal_id", *bounds):
        found[animal].spans.append((since, until))
    return dict(found)


def reasons_of(at: datetime, periods: Iterable[tuple[Any, str]]) -> Reasons | None:
    """The same for one animal whose periods (range and words) were read already; None: free."""
    known = [(during, why) for during, why in periods if not during.isempty]
    reasons = Reasons(
        spans=[
            (during.lower, during.upper)
            for during, _ in known
            if during.upper is None or during.upper > at
        ],
        words=[(during.upper, why) for during, why in known if at in during],
    )
    return reasons if reasons.words else None


def answer_for(animal: Animal, at: datetime) -> Answer | None:
    """One animal's answer at a moment; None when she stands in no group then."""
    return next(iter(withheld_list(at, animals=[animal.pk])), None)


def is_withheld(animal: Animal, at: datetime) -> bool:
    """Whether an animal's milk is NOT for the tank at a moment; one that stands nowhere is NOT."""
    answer = answer_for(animal, at)
    return answer is None or answer.withheld
