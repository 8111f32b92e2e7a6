"""What one animal's page says, read in nine statements however long her book is."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from config.days import day_words, estate_zone
from config.errors import Conflict
from herd import tags, withdrawal
from herd.breeding import IN_CALF, SERVED, Rules, Standing, days_open, standing
from herd.breeding_rules import breeds, rules_of, values_on
from herd.life_story import Line, Story, story
from herd.lives import breed_code
from herd.models import Animal, Course, Dose, GroupStay, Recording, WithdrawalPeriod
from herd.planned import Stands
from herd.services.withdrawals import times_by_group
from herd.withdrawal import Estate
from herd.withheld import Answer, answer_of, reasons_of

BOOK_ROWS = 60
TESTS_SHOWN = 6
RECORDINGS_SHOWN = 12


@dataclass(frozen=True)
class Running:
    """A course whose milk or meat period runs: its doses, how many are left, and its period."""

    course: Course
    doses: list[Dose]
    period: WithdrawalPeriod

    @property
    def left(self) -> int:
        written = sum(not dose.is_struck for dose in self.doses)
        return max(self.course.doses - written, 0)


class AnimalSheet:
    """One animal at a moment; each part is read once, when the page asks for it."""

    def __init__(self, animal: Animal, now: datetime) -> None:
        self.animal, self.now = animal, now
        self.today = timezone.localdate(now)

    @cached_property
    def stays(self) -> list[GroupStay]:
        """Her standing stays, in order of time."""
        rows = GroupStay.objects.standing().filter(animal=self.animal).select_related("group")
        return list(rows.order_by("happened_at"))

    @cached_property
    def stay(self) -> GroupStay | None:
        """Where she stands, or how she left; None before her first stay."""
        return next((stay for stay in self.stays if self.now in stay.during), None)

    @cached_property
    def periods(self) -> list[WithdrawalPeriod]:
        """Everything that withholds or withheld her, of courses and the rest."""
        rows = WithdrawalPeriod.objects.filter(animal=self.animal)
        return list(rows.select_related("course__medicine").order_by("pk"))

    @cached_property
    def times(self) -> dict[int, Any]:
        return times_by_group()

    @cached_property
    def story(self) -> Story:
        """Her whole book."""
        return story(self.animal.pk)

    @cached_property
    def answer(self) -> Answer | None:
        """TANK or NOT; None when she stands in no group."""
        if self.stay is None or self.stay.group is None:
            return None
        group = self.stay.group
        one = self.animal
        row = (
            one.pk,
            one.uuid,
            one.farm_number,
            one.ear_tag,
            group.pk,
            group.number,
            group.use,
        )
        reasons = reasons_of(self.now, ((each.during, each.why) for each in self.periods))
        planned = (Stands(self.now, None, self.times[group.pk]),) if group.pk in self.times else ()
        return answer_of(self.now, row, reasons, planned)

    @cached_property
    def unwell(self) -> list[WithdrawalPeriod]:
        """The signs that keep her milk out until somebody writes her well again."""
        kind = WithdrawalPeriod.Kind.HEALTH
        return [each for each in self.periods if each.kind == kind and each.during.upper is None]

    @cached_property
    def meat(self) -> WithdrawalPeriod | None:
        """The period that keeps her from slaughter longest; None when none does."""
        open_ = [
            each
            for each in self.periods
            if (each.meat_open or (each.meat_until and each.meat_until > self.now))
            and (each.course is None or each.course.happened_at <= self.now)
        ]
        return max(
            open_, key=lambda each: (each.meat_open, each.meat_until or self.now), default=None
        )

    @cached_property
    def courses(self) -> list[Running]:
        """Courses whose milk or meat period runs, the newest first."""
        running = {
            each.course: each
            for each in self.periods
            if each.course is not None
            and not each.course.is_struck
            and (
                self.now in each.during
                or each.meat_open
                or (each.meat_until is not None and each.meat_until > self.now)
            )
        }
        if not running:
            return []
        doses = Dose.objects.filter(course__in=list(running)).order_by("happened_at")
        given: dict[int, list[Dose]] = {}
        for dose in doses:
            given.setdefault(dose.course_id, []).append(dose)
        courses = sorted(running, key=lambda course: course.happened_at, reverse=True)
        return [Running(course, given.get(course.pk, []), running[course]) for course in courses]

    @cached_property
    def recordings(self) -> list[Recording]:
        """Her last standing recordings, newest first."""
        found = Recording.objects.standing().filter(animal=self.animal)
        return list(found.order_by("-happened_at", "-pk")[:RECORDINGS_SHOWN])

    @property
    def minutes_too_late(self) -> int | None:
        """How much earlier the last dose would have cost one milking less; None when not close."""
        if self.answer is None or self.answer.until is None:
            return None
        stands = tuple(
            Stands(stay.during.lower, stay.during.upper, self.times.get(stay.group_id, ()))
            for stay in self.stays
            if stay.group_id is not None and stay.during.lower is not None
        )
        return withdrawal.minutes_too_late(self.answer.until, Estate(estate_zone(), (), stands))

    @property
    def tag(self) -> str:
        """The ear tag she wears."""
        return self.story.tag(self.animal.ear_tag, self.now)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What is odd about her tag."""
        return tags.doubts_of(self.tag)

    @property
    def international(self) -> str | None:
        """The 19 characters herd books exchange; None when breed or country do not allow it."""
        try:
            tag = tags.read_tag(self.tag)
        except tags.TagError:
            return None
        return tags.international(breed_code(self.animal.breed), tag, self.animal.sex)

    @property
    def calving(self) -> Line | None:
        """Her last calving."""
        return self.story.last("calvings", self.now)

    @property
    def days_since_calving(self) -> int | None:
        """Whole days of the estate's calendar since she calved; None when she has not."""
        calved = self.calving
        return (
            None if calved is None else (self.today - timezone.localdate(calved.happened_at)).days
        )

    @property
    def tests(self) -> list[Line]:
        """Her last tests."""
        return list(self.story.standing("cow-tests", self.now))[:TESTS_SHOWN]

    @property
    def book(self) -> tuple[Line, ...]:
        """The newest entries of her book."""
        return self.story.lines[:BOOK_ROWS]

    @property
    def older(self) -> int:
        """How many entries of her book are not shown."""
        return len(self.story.lines) - len(self.book)

    @cached_property
    def breeding(self) -> str:
        """Where she stands between two calvings, in words; "" for a male."""
        if self.animal.sex == Animal.Sex.MALE:
            return ""
        values = values_on(self.today)
        known = breeds().get(breed_code(self.animal.breed), ())
        life = self.story.life(known, self.now)
        if not (life.calvings or life.services or life.heats):
            return _("nothing written yet")
        try:
            rules = rules_of(values, self.today)
        except Conflict as missing:
            return str(missing)
        place = standing(life, self.today, rules)
        return "; ".join(breeding_words(place, self, rules))


def breeding_words(place: Standing, sheet: AnimalSheet, rules: Rules) -> Iterable[str]:
    """Where an animal stands between two calvings, word by word."""
    if place.state == IN_CALF:
        yield _("in calf from {each}").format(
            each=" or ".join(day_words(day) for day in place.fertile)
        )
    elif place.state == SERVED:
        yield _("served {services}, not known whether in calf").format(
            services=day_words(place.services[-1])
        )
    elif place.calved:
        yield _("empty")
    if place.due:
        days = " or ".join(day_words(day) for day in place.due)
        yield _("expected {days} (± {spread} days)").format(days=days, spread=rules.spread)
    elif place.fertile:
        yield _("no row says how long her breed carries")
    if place.dry_since:
        yield _("dry since {dry_since}").format(dry_since=day_words(place.dry_since))
    found = days_open(place, sheet.today)
    if found is not None:
        yield _("days open: {it}{found}").format(it=">" if found[1] else "", found=found[0])
    if not place.serve:
        yield _("not to be served")
