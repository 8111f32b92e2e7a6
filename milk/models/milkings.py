"""Milkings of groups, what the meters read per cow, and corrections of meter rows."""

import re
from datetime import date
from typing import ClassVar

import pgtrigger
from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.entries import Entry, append_only, keep_rows
from config.models import Upload
from config.triggers import never_changed, parents_there
from herd.models import Animal, Group
from herd.models.groups import Session
from milk.models.tanks import Tank, ends_after, kilos

MILKING_NAME = re.compile(
    r"(?:[^\W\d]+\s+)?(?P<group>\d{1,5})[\s,/]+(?P<day>\d{4}-\d{2}-\d{2})[\s,/]+"
    r"(?P<session>[^\W\d]+)",
    re.IGNORECASE,
)


MILKING_SHAPE = N_(
    "“{text}” names no milking. Expected group, day and milking, such as 5/2026-06-09/E."
)
NO_SUCH_MILKING = N_("No milking “{text}” is in the book. Look it up under Milkings.")
SEVERAL_MILKINGS = N_("There are several milkings “{text}”. Take the number of the one you mean.")


def session_named(text: str) -> str | None:
    """The milking of a day by its letter or its name, in English or the reader's language."""
    for session in Session:
        if text.casefold() in {
            str(one).casefold() for one in (session.value, session.name, session.label)
        }:
            return str(session.value)
    return None


class Milking(Entry):
    """One group milked, into one tank; it happened when it began. A line switch is a further one.

    ``kg`` went into the tank: ``read_kg`` when somebody read it there, otherwise the sum of the
    meters (which is why it may be computed again). ``metered``: the cows stand in CowMilking with
    their weights; without meters they are the animals that stood in the group, less those a row
    says were kept out.
    Without a tank it is not known where the milk went.
    """

    group = models.ForeignKey(Group, models.PROTECT, related_name="milkings", db_index=False)
    day = models.DateField(_l("day"))
    session = models.CharField(_l("milking"), max_length=1, choices=Session)
    tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="milkings", db_index=False
    )
    ended_at = models.DateTimeField(_l("until"), null=True, blank=True)
    read_kg = kilos(_l("read at the tank"), validators=[], null=True, blank=True)
    kg = kilos(_l("into the tank"), validators=[], blank=True)
    metered = models.BooleanField(default=False)
    milker = models.CharField(max_length=60, blank=True)
    remark = models.CharField(max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("milking")
        triggers = append_only("kg", keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["group", "happened_at"],
                condition=Q(struck_at=None),
                name="milk_milking_one_per_group_and_start",
                violation_error_message=_l("This group has a milking that began then already."),
            ),
            ends_after("milk_milking_ends_after_start"),
            models.CheckConstraint(
                condition=Q(kg__gte=0) & (Q(read_kg=None) | Q(read_kg__gte=0)),
                name="milk_milking_not_negative",
                violation_error_message=_l("The milk weighs 0 kg or more."),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            models.Index(fields=["tank", "happened_at"], name="milk_milking_tank_when"),
            # For milk.trace forward from a feeding or a stay: the group's milkings in a span.
            models.Index(
                fields=["group", "happened_at"],
                include=["id", "tank"],
                condition=Q(struck_at=None),
                name="milk_milking_group_when",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.group}, {self.day} {self.get_session_display()}"

    @classmethod
    def find(cls, text: str) -> "Milking":
        """The standing milking “5/2026-06-09/E”, or as it is called: “group 5, 2026-06-09 evening”.

        Raises DoesNotExist, or ValueError for another form or when a group has several.
        """
        said = MILKING_NAME.fullmatch(text.strip())
        session = session_named(said["session"]) if said else None
        if said is None or session is None:
            raise ValueError(_(MILKING_SHAPE).format(text=text[:60]))
        found: list[Milking] = list(
            cls.objects.standing().filter(
                group__number=said["group"],
                group__struck_at=None,
                day=date.fromisoformat(said["day"]),
                session=session,
            )[:2]
        )
        if not found:
            raise cls.DoesNotExist(_(NO_SUCH_MILKING).format(text=text[:60]))
        if len(found) > 1:
            raise ValueError(_(SEVERAL_MILKINGS).format(text=text[:60]))
        return found[0]


class CowMilking(models.Model):
    """What one cow gave at one milking: measured data, narrow and many, 48 bytes a row.

    ``grams`` blank: not measured. ``at_s``: seconds after the milking began at which the cluster
    was put on her. ``lot`` is computed; blank when the milk was kept out or its tank is not known.
    Rows belong to the upload that brought them; a wrong one is corrected by a MeterCorrection that
    keeps old and new.
    """

    class Goes(models.IntegerChoices):
        TANK = 0, _l("tank")
        KEPT_OUT = 1, _l("kept out")

    pk = models.CompositePrimaryKey("animal_id", "milking_id")
    # Thousands of rows at a time: their parents are looked up by a trigger, all rows at once.
    animal = models.ForeignKey(
        Animal, models.PROTECT, related_name="milkings", db_index=False, db_constraint=False
    )
    milking = models.ForeignKey(
        Milking, models.PROTECT, related_name="cows", db_index=False, db_constraint=False
    )
    lot = models.ForeignKey(
        "milk.MilkLot", models.PROTECT, null=True, related_name="cows", db_index=False
    )
    upload = models.ForeignKey(
        Upload, models.PROTECT, null=True, related_name="+", db_index=False, db_constraint=False
    )
    grams = models.IntegerField(null=True)
    at_s = models.SmallIntegerField(_l("seconds after the start"), null=True)
    goes = models.SmallIntegerField(choices=Goes, default=Goes.TANK)

    class Meta:
        verbose_name = _l("cow milking")
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(grams=None) | Q(grams__gte=0, grams__lte=100_000),
                name="milk_cowmilking_0_to_100_kg",
                violation_error_message=_l("One cow gives 0 to 100 kg at a milking."),
            ),
        ]
        indexes: ClassVar = [
            # The cows and kg of a lot, without touching the table.
            models.Index(
                fields=["lot", "animal"],
                include=["grams", "milking"],
                name="milk_cowmilking_of_lot",
            ),
            # For a milking that is computed again: its rows, whatever the age of the statistics.
            models.Index(fields=["milking"], name="milk_cowmilking_of_milking"),
        ]
        triggers: ClassVar = [
            *keep_rows(),
            parents_there(
                animal_id="herd_animal", milking_id="milk_milking", upload_id="config_upload"
            ),
            pgtrigger.Trigger(
                name="refuse_change",
                operation=pgtrigger.Update,
                when=pgtrigger.Before,
                func="""
                    IF (OLD.animal_id, OLD.milking_id, OLD.upload_id, OLD.at_s)
                           IS DISTINCT FROM
                           (NEW.animal_id, NEW.milking_id, NEW.upload_id, NEW.at_s)
                       OR (OLD.grams, OLD.goes) IS DISTINCT FROM (NEW.grams, NEW.goes)
                       AND NOT EXISTS (
                           SELECT 1 FROM milk_metercorrection AS c
                           WHERE c.animal_id = NEW.animal_id AND c.milking_id = NEW.milking_id
                             AND c.new_grams IS NOT DISTINCT FROM NEW.grams
                             AND c.new_goes = NEW.goes
                             AND c.old_grams IS NOT DISTINCT FROM OLD.grams
                             AND c.old_goes = OLD.goes) THEN
                        RAISE EXCEPTION 'a meter row changes only with a correction beside it'
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return _("{animal_id} at milking {milking_id}").format(
            animal_id=self.animal_id, milking_id=self.milking_id
        )


class MeterArrival(models.Model):
    """Meter rows of one milking that came together: when, so that the day of it can be sealed.

    ``animals``: of rows that came later than the first of their milking, whose they are; blank for
    the first, which are all the others. The rows themselves say nothing of when they came.
    """

    milking = models.ForeignKey(Milking, models.PROTECT, related_name="+")
    received_at = models.DateTimeField(_l("received at"), default=timezone.now, db_index=True)
    animals = ArrayField(models.IntegerField(), null=True)

    class Meta:
        verbose_name = verbose_name_plural = "meter rows that came"
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["milking"],
                condition=Q(animals=None),
                name="milk_meterarrival_one_is_first",
            ),
        ]
        triggers: ClassVar = [*keep_rows(), never_changed()]

    def __str__(self) -> str:
        return f"milking {self.milking_id}, {self.received_at:%Y-%m-%d %H:%M}"


class MeterCorrection(Entry):
    """A meter row put right: what it said and what is true."""

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="+")
    milking = models.ForeignKey(Milking, models.PROTECT, related_name="corrections")
    old_grams = models.IntegerField(_l("it said, g"), null=True, blank=True, editable=False)
    new_grams = models.IntegerField(
        _l("true is, g"),
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(100_000)],
    )
    old_goes = models.SmallIntegerField(choices=CowMilking.Goes, editable=False)
    new_goes = models.SmallIntegerField(
        _l("went to"), choices=CowMilking.Goes, default=CowMilking.Goes.TANK
    )
    why = models.CharField(max_length=120)

    class Meta(Entry.Meta):
        verbose_name = _l("meter correction")
        triggers = append_only()
        indexes = [
            *Entry.Meta.indexes,
            models.Index(fields=["milking", "animal"], name="milk_metercorrection_row"),
        ]

    def __str__(self) -> str:
        return f"{self.animal}, {self.milking}"
