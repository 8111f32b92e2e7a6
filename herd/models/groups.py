"""Groups of animals, when they are milked, and which animal stood in which group when."""

from datetime import datetime
from typing import Any, ClassVar, Self

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateTimeRangeField, RangeOperators
from django.contrib.postgres.indexes import GistIndex
from django.db import models
from django.db.models import F, Func, Q, Value
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import pgettext_lazy

from config.entries import Entry, EntryQuerySet, append_only
from herd.models.animals import Animal


def one_id(field: str) -> Func:
    """An id as a range of one, which GiST can compare without an extension."""
    return Func(F(field), F(field), Value("[]"), function="int8range")


def number_in(text: str) -> int:
    """The number of a group as people say it: "5", "group 5", or so in the reader's language."""
    said, before = text.strip().lower(), _("group {number}").partition("{number}")[0].strip()
    return int(said.removeprefix("group").removeprefix(before.lower()))


class Session(models.TextChoices):
    """The two milkings of a day."""

    MORNING = "M", _l("morning")
    EVENING = "E", _l("evening")


class Group(Entry):
    """A group of animals kept, fed and milked together."""

    class Use(models.TextChoices):
        FRESH = "fresh", _l("fresh cows")
        MILKING = "milking", _l("in milk")
        HOSPITAL = "hospital", _l("hospital and withheld")
        DRY = "dry", _l("dry")
        CLOSE_UP = "close-up", _l("close to calving")
        YOUNG = "young", _l("young stock")

    number = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=60, blank=True)
    use = models.CharField(max_length=8, choices=Use, default=Use.MILKING)
    walk_place = models.PositiveSmallIntegerField(
        _l("place in the walk through the barn"),
        null=True,
        blank=True,
        help_text=_l("Lists go group by group in this order; without one, by the group's number."),
    )

    class Meta(Entry.Meta):
        verbose_name = _l("group")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["number"],
                condition=Q(struck_at=None),
                name="herd_group_one_per_number",
                violation_error_message=_l("There is a group with this number already."),
            ),
        ]

    def __str__(self) -> str:
        return _("group {number}").format(number=self.number)

    def get_absolute_url(self) -> str:
        return f"/herd/withheld/?group={self.number}"

    @classmethod
    def find(cls, text: str) -> "Group":
        """The standing group with this number. Raises DoesNotExist, or ValueError for no number."""
        found: Group = cls.objects.standing().get(number=number_in(text))
        return found


class MilkingTime(Entry):
    """From when on a group is milked at which hour, and into which line."""

    group = models.ForeignKey(Group, models.PROTECT, related_name="milking_times")
    session = models.CharField(max_length=1, choices=Session)
    starts = models.TimeField(_l("planned start, estate time"))
    valid_from = models.DateField(_l("valid from"))
    line = models.CharField(
        _l("line"), max_length=20, blank=True, help_text=_l("Name of the tank, or “waste”.")
    )

    class Meta(Entry.Meta):
        verbose_name = _l("milking time")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["group", "session", "valid_from"],
                condition=Q(struck_at=None),
                name="herd_milkingtime_one_per_day",
                violation_error_message=_l("That milking of this group has a time from that day."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.group}, {self.get_session_display()} {self.starts:%H:%M}"


class GroupStayQuerySet(EntryQuerySet):
    """Who stood where."""

    def at(self, moment: datetime) -> Self:
        """The stays that hold at ``moment``; one per animal at most."""
        return self.standing().filter(during__contains=moment)


class GroupStay(Entry):
    """An animal came into a group, or left the estate (no group, and why).

    ``during`` is computed: from the moment she came until her next stay. The database refuses two
    groups at once.
    """

    class Leaving(models.TextChoices):
        SOLD = "sold", _l("sold alive")
        SLAUGHTER = "slaughter", _l("to slaughter")
        DIED = "died", _l("died")
        DESTROYED = "destroyed", pgettext_lazy("animal", "destroyed")

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="stays")
    group = models.ForeignKey(Group, models.PROTECT, null=True, blank=True, related_name="stays")
    leaving = models.CharField(max_length=10, choices=Leaving, blank=True)
    note = models.CharField(_l("why, or the paper that goes with her"), max_length=120, blank=True)
    during = DateTimeRangeField(editable=False)

    objects: ClassVar[Any] = GroupStayQuerySet.as_manager()

    class Meta(Entry.Meta):
        verbose_name = _l("group stay")
        triggers = append_only("during")
        constraints = [
            *Entry.Meta.constraints,
            ExclusionConstraint(
                name="herd_groupstay_one_group_at_a_time",
                expressions=[
                    (one_id("animal_id"), RangeOperators.OVERLAPS),
                    ("during", RangeOperators.OVERLAPS),
                ],
                condition=Q(struck_at=None),
                violation_error_message=_l("She stands in another group at that time already."),
            ),
            models.CheckConstraint(
                condition=Q(group__isnull=False, leaving="")
                | Q(group__isnull=True) & ~Q(leaving=""),
                name="herd_groupstay_group_or_leaving",
                violation_error_message=_l(
                    "Name the group she goes to, or how she leaves the estate."
                ),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            # For milk.trace: who stood in these groups at that milking, flat over ten years.
            GistIndex(
                one_id("group_id"),
                "during",
                name="herd_groupstay_who_when",
                condition=Q(struck_at=None),
            ),
            # For the withheld list: who stood anywhere at a moment.
            GistIndex(
                "during",
                name="herd_groupstay_anywhere",
                condition=Q(struck_at=None),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.animal} {self.group or self.get_leaving_display()}"


class UnknownCow(Entry):
    """A cow stood in a group and nobody could say who she is. Her milk is NOT for the tank."""

    group = models.ForeignKey(Group, models.PROTECT, related_name="unknown_cows")
    marks = models.CharField(_l("what she looks like"), max_length=200, blank=True)
    where_kept = models.CharField(_l("where she stands now"), max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("unknown cow")
        triggers = append_only(keeps_number=True)

    def __str__(self) -> str:
        return _("unknown cow {pk} in {group}").format(pk=self.pk, group=self.group)

    def get_absolute_url(self) -> str:
        return f"/herd/unknown/{self.uuid}/"


class CowKnown(Entry):
    """Who an unknown cow turned out to be, and by what proof."""

    class Proof(models.TextChoices):
        OTHER_EAR = "other ear", _l("the tag in the other ear")
        ELECTRONIC = "electronic", _l("her electronic number")
        PHOTO = "photo", _l("a photo")
        METER = "meter", _l("her milk at the meter")
        BRAND = "brand", _l("a brand or her marks")
        ELIMINATION = "elimination", _l("all others of the group were seen")

    unknown = models.ForeignKey(UnknownCow, models.PROTECT, related_name="answers")
    animal = models.ForeignKey(Animal, models.PROTECT, related_name="known_again")
    proof = models.CharField(_l("how she was known"), max_length=11, choices=Proof)
    remark = models.CharField(max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("cow known again")
        verbose_name_plural = _l("cows known again")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["unknown"],
                condition=Q(struck_at=None),
                name="herd_cowknown_once",
                violation_error_message=_l("Somebody said already who she is. Strike that first."),
            ),
        ]

    def __str__(self) -> str:
        return _("{unknown} is {animal}").format(unknown=self.unknown, animal=self.animal)
