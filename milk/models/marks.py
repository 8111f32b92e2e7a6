"""The marks of a make: rennet in, clot, cut, end of heating, end of rest, lift; one touch each."""

from decimal import Decimal
from typing import Any, ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from milk.models.tanks import degrees
from milk.models.vats import Vat


class VatMark(Entry):
    """A step of a make, at the moment it happened; or a reading or remark in between.

    The columns ``set_at`` … ``lifted_at`` of the vat are those of its standing marks.
    """

    class What(models.TextChoices):
        SET = "set", _l("rennet in")
        CLOT = "clot", _l("clot firm")
        CUT = "cut", _l("cut begun")
        GRAIN = "grain", _l("cut ended")
        HEATED = "heated", _l("end of heating")
        RESTED = "rested", _l("end of rest")
        LIFTED = "lifted", _l("lifted")
        ACID = "acid", _l("acidity read")
        NOTE = "note", _l("remark")

    # In the order of a make. Each once; readings and remarks come as often as they like.
    STEPS = (What.SET, What.CLOT, What.CUT, What.GRAIN, What.HEATED, What.RESTED, What.LIFTED)

    vat = models.ForeignKey(Vat, models.PROTECT, related_name="marks")
    what = models.CharField(max_length=6, choices=What)
    celsius = degrees(_l("temperature"))
    acidity: "models.DecimalField[Any, Any]" = models.DecimalField(
        _l("acidity, °SH"),
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(100))],
    )
    remark = models.CharField(max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("mark of a make")
        verbose_name_plural = _l("marks of a make")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["vat", "what"],
                condition=Q(struck_at=None) & ~Q(what__in=["acid", "note"]),
                name="milk_vatmark_each_step_once",
                violation_error_message=_l("This vat has that mark already."),
            ),
            models.CheckConstraint(
                condition=~Q(what="acid") | Q(acidity__isnull=False),
                name="milk_vatmark_acid_has_a_number",
                violation_error_message=_l("Write the acidity that was read, in °SH."),
            ),
            models.CheckConstraint(
                condition=~Q(what="note") | ~Q(remark=""),
                name="milk_vatmark_note_has_words",
                violation_error_message=_l("Write the remark in words."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.vat}: {self.get_what_display()}"
