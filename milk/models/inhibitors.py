"""Inhibitor tests by method: which active substances each of them finds."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only


def substances(text: str) -> set[str]:
    """The active substances of a list with commas, in lower case."""
    return {one.strip().casefold() for one in text.split(",") if one.strip()}


class InhibitorTest(Entry):
    """A method, and what it finds by its maker's word. A result names it by ``name``.

    ``confirms``: a chemical method that can answer a positive result of another.
    """

    name = models.CharField(max_length=80)
    covers = models.CharField(
        _l("active substances it covers"), max_length=600, help_text=_l("With commas between them.")
    )
    confirms = models.BooleanField(_l("chemical, answers a positive result"), default=False)
    minutes = models.PositiveSmallIntegerField(_l("takes, min"), null=True, blank=True)
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200, help_text=_l("The maker's sheet, with its date."))

    class Meta(Entry.Meta):
        verbose_name = _l("inhibitor test method")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_inhibitortest_one_per_day",
                violation_error_message=_l("This method has a list from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def actives(self) -> set[str]:
        return substances(self.covers)
