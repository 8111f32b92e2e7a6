"""Masses and dry matter, and what is left of things that are fed and discarded."""

from datetime import datetime
from decimal import Decimal
from typing import Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _l
from django_stubs_ext import StrOrPromise

from config.entries import EntryQuerySet

Bounds = tuple[Decimal, Decimal]


def between(bounds: Bounds, words: StrOrPromise | None) -> list[Any]:
    """Validators of a range, both ends included."""
    return [MinValueValidator(bounds[0], words), MaxValueValidator(bounds[1], words)]


def kilos(
    label: StrOrPromise,
    bounds: Bounds = (Decimal("0.1"), Decimal(99_999_999)),
    words: StrOrPromise | None = None,
) -> "models.DecimalField[Any, Any]":
    """A weight in kg, more than 0."""
    return models.DecimalField(
        format_lazy(_l("{label}, kg"), label=label),
        max_digits=9,
        decimal_places=1,
        validators=between(bounds, words),
    )


def dry_matter(
    bounds: Bounds = (Decimal(5), Decimal(99)), words: StrOrPromise | None = None
) -> "models.DecimalField[Any, Any]":
    """Dry matter in per cent of the fresh weight."""
    return models.DecimalField(
        _l("dry matter, %"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=between(bounds, words),
    )


class LeftQuerySet(EntryQuerySet):
    """What is left of loads and of feed lots."""

    def with_left(self, at: datetime | None = None) -> Self:
        """Annotate ``fed_kg``, ``discarded_kg`` and ``left_kg``, up to ``at``."""
        return self.annotate(
            fed_kg=total(self.model, "feedings", at), discarded_kg=total(self.model, "discards", at)
        ).annotate(left_kg=F("kg") - F("fed_kg") - F("discarded_kg"))


def total(model: Any, relation: str, at: datetime | None) -> Any:
    """The standing kilos that hang on a row of ``model``, as a sub-query; 0 when there are none."""
    related = model._meta.get_field(relation)
    link, entries = related.field.name, related.related_model.objects
    rows = entries.happened_by(at) if at else entries.standing()
    of_one = rows.filter(**{link: models.OuterRef("pk")}).order_by().values(link)
    summed = of_one.annotate(sum=models.Sum("kg")).values("sum")
    zero = models.Value(Decimal(0), output_field=models.DecimalField())
    return models.functions.Coalesce(models.Subquery(summed), zero)
