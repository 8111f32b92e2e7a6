"""What was found on wheels, and their grades."""

from django.db import models

from config.entries import Entry, append_only
from milk.models.tanks import kilos
from milk.models.vats import Wheel


class Inspection(Entry):
    """A wheel looked at, tapped, needled or cored, and its grade."""

    class Way(models.TextChoices):
        EYE = "eye", "by eye"
        TAP = "tap", "tapped"
        NEEDLE = "needle", "needle"
        CORE = "core", "core"

    class Grade(models.TextChoices):
        FIRST = "first", "first"
        SECOND = "second", "second"
        DOWNGRADED = "downgraded", "downgraded"

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="inspections")
    way = models.CharField(max_length=6, choices=Way)
    grade = models.CharField(max_length=10, choices=Grade)
    findings = models.CharField(max_length=200, blank=True)
    kg = kilos("weight", null=True, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "inspection"
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.wheel}: {self.get_grade_display()}"
