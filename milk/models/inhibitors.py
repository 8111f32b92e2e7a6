"""Inhibitor tests by method: which active substances each of them finds."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

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
        "active substances it covers", max_length=600, help_text="With commas between them."
    )
    confirms = models.BooleanField("chemical, answers a positive result", default=False)
    minutes = models.PositiveSmallIntegerField("takes, min", null=True, blank=True)
    valid_from = models.DateField("valid from")
    source = models.CharField(max_length=200, help_text="The maker's sheet, with its date.")

    class Meta(Entry.Meta):
        verbose_name = "inhibitor test method"
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_inhibitortest_one_per_day",
                violation_error_message="This method has a list from that day already.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def actives(self) -> set[str]:
        return substances(self.covers)
