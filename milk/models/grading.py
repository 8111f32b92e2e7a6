"""What was found on wheels, their grades, and the marks on their rinds."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_
from django.utils.translation import pgettext_lazy

from config.entries import Entry, append_only
from milk.models.tanks import kilos
from milk.models.vats import Wheel

NO_SUCH_FAULT = N_("No fault is called “{text}”. Expected one of the list of faults.")


class Grade(models.TextChoices):
    """The grades of a wheel, the best first. What each means stands in its dated rule."""

    FIRST = "first", pgettext_lazy("grade", "first")
    SLIGHT = "slight", _l("slight fault")
    SECOND = "second", _l("second")
    DOWNGRADED = "downgraded", _l("downgraded")


class GradeRule(Entry):
    """From a day on: what a grade means, and what the rind of such a wheel must bear."""

    class Marks(models.TextChoices):
        KEPT = "kept", _l("marks kept, no grooves")
        GROOVED = "grooved", _l("grooves cut into the rind")
        REMOVED = "removed", _l("marks taken off the rind")

    grade = models.CharField(max_length=10, choices=Grade)
    means = models.CharField(max_length=200)
    marks = models.CharField(_l("the rind"), max_length=8, choices=Marks)
    # A share is told of three grades only, whatever finer ones the estate keeps.
    counts_as = models.CharField(
        max_length=10, choices=[choice for choice in Grade.choices if choice[0] != "slight"]
    )
    named = models.BooleanField(_l("sold under the name"), default=True)
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("rule of a grade")
        verbose_name_plural = _l("rules of the grades")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["grade", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_graderule_one_per_day",
                violation_error_message=_l("This grade has a rule from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_grade_display()}: {self.means}"


class Fault(Entry):
    """A fault of wheels as the estate names it, from a day on: what it is, and its usual grade."""

    class Where(models.TextChoices):
        RIND = "rind", _l("on the rind")
        BODY = "body", _l("in the body")

    name = models.CharField(max_length=40)
    means = models.CharField(max_length=200)
    where = models.CharField(max_length=4, choices=Where)
    usual_grade = models.CharField(
        max_length=10, choices=[choice for choice in Grade.choices if choice[0] != "first"]
    )
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("fault")
        triggers = append_only(keeps_number=True)
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name"],
                condition=Q(struck_at=None),
                name="milk_fault_once",
                violation_error_message=_l("A fault of this name is in the list already."),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def find(cls, text: str) -> "Fault":
        """The standing fault of this name. Raises DoesNotExist."""
        found: Fault | None = cls.objects.standing().filter(name__iexact=text.strip()).first()
        if found is None:
            raise cls.DoesNotExist(_(NO_SUCH_FAULT).format(text=text[:60]))
        return found


class Inspection(Entry):
    """A wheel looked at, tapped, needled or cored, and its grade. Only a newer one corrects it."""

    class Way(models.TextChoices):
        EYE = "eye", _l("by eye")
        TAP = "tap", _l("tapped")
        NEEDLE = "needle", _l("needle")
        CORE = "core", _l("core")

    Grade: ClassVar = Grade

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="inspections")
    way = models.CharField(max_length=6, choices=Way)
    grade = models.CharField(max_length=10, choices=Grade)
    fault = models.ForeignKey(
        Fault,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="inspections",
        verbose_name=_l("main fault"),
        db_index=False,
    )
    findings = models.CharField(_l("in words"), max_length=200, blank=True)
    kg = kilos(_l("weight"), null=True, blank=True)
    inspector = models.CharField(
        _l("inspector from outside"),
        max_length=80,
        blank=True,
        help_text=_l("Blank: who writes it."),
    )

    class Meta(Entry.Meta):
        verbose_name = _l("inspection")
        triggers = append_only()
        indexes: ClassVar = [
            *Entry.Meta.indexes,
            # For the last grade of each wheel.
            models.Index(
                fields=["wheel", "-happened_at", "-id"],
                condition=Q(struck_at=None),
                name="milk_inspection_last",
            ),
            # For the search by a grade that few wheels have.
            models.Index(
                fields=["grade", "wheel"], condition=Q(struck_at=None), name="milk_inspection_grade"
            ),
            # For what somebody tapped in the last half minute.
            models.Index(
                fields=["-received_at"], condition=Q(struck_at=None), name="milk_inspection_lately"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wheel}: {self.get_grade_display()}"


class RindMark(Entry):
    """What was cut into, burnt into or taken off the rind of a wheel."""

    class What(models.TextChoices):
        BRANDED = "branded", _l("branded")
        GROOVED = "grooved", _l("grooves cut")
        REMOVED = "removed", _l("marks taken off")

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="rind_marks")
    what = models.CharField(max_length=8, choices=What)

    class Meta(Entry.Meta):
        verbose_name = _l("mark on a rind")
        verbose_name_plural = _l("marks on rinds")
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.wheel}: {self.get_what_display()}"
