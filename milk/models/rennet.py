"""Rennet by batch: what came in, how strong it is, when it was opened and used up."""

from decimal import Decimal
from typing import Any, ClassVar

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django_stubs_ext import StrOrPromise

from config.entries import Entry, append_only


def grams(label: StrOrPromise, **options: Any) -> "models.DecimalField[Any, Any]":
    """A weight of rennet in g."""
    options.setdefault("validators", [MinValueValidator(Decimal("0.1"))])
    return models.DecimalField(
        format_lazy("{}, g", label), max_digits=8, decimal_places=1, **options
    )


class RennetBatch(Entry):
    """A batch of rennet that came in. Vats name it by its code.

    ``strength``: total milk-clotting activity in IMCU per gram (ISO 11815), from the label.
    """

    code = models.CharField(_l("batch"), max_length=40)
    product = models.CharField(max_length=80, blank=True)
    g = grams(_l("received"))
    strength: "models.DecimalField[Any, Any]" = models.DecimalField(
        _l("strength, IMCU/g"),
        max_digits=8,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(1))],
    )
    best_before = models.DateField(_l("best before"), null=True, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("rennet batch")
        verbose_name_plural = _l("rennet batches")
        triggers = append_only(keeps_number=True)
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["code"],
                condition=Q(struck_at=None),
                name="milk_rennetbatch_once",
                violation_error_message=_l("This batch is in the book already."),
            ),
        ]

    def __str__(self) -> str:
        return _("rennet {code}").format(code=self.code)


class RennetStep(Entry):
    """A batch of rennet opened, finished, counted or thrown away."""

    class What(models.TextChoices):
        OPENED = "opened", _l("opened")
        FINISHED = "finished", _l("finished")
        COUNTED = "counted", _l("counted")
        THROWN = "thrown", _l("thrown away")

    batch = models.ForeignKey(RennetBatch, models.PROTECT, related_name="steps")
    what = models.CharField(max_length=8, choices=What)
    # Nothing left is a count as well.
    g = grams(_l("how much"), null=True, blank=True, validators=[MinValueValidator(Decimal(0))])
    remark = models.CharField(max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("step of rennet")
        verbose_name_plural = _l("steps of rennet")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(what__in=["opened", "finished"], g=None)
                | Q(what__in=["counted", "thrown"], g__isnull=False),
                name="milk_rennetstep_grams_when_weighed",
                violation_error_message=_l(
                    "Rennet counted or thrown away needs the grams; opened or finished has none."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch} {self.get_what_display()}"
