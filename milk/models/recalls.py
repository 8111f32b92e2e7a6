"""Recalls and drills of them."""

from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from config.entries import Entry, append_only


class Recall(Entry):
    """A recall or a drill of one: what it started from, and what was found below it then."""

    ROOTS: ClassVar = ("animal", "course", "batch", "group", "lot", "vat", "wheel")

    root_kind = models.CharField("started from", max_length=10)
    root = models.UUIDField("number of what it started from")
    reason = models.CharField(max_length=400)
    drill = models.BooleanField("a drill", default=False)
    pieces = models.PositiveIntegerField("wheels made", editable=False, default=0)
    located = models.PositiveIntegerField(
        "wheels located",
        default=0,
        editable=False,
        validators=[MinValueValidator(0), MaxValueValidator(10_000_000)],
    )
    tree = models.JSONField(default=dict, editable=False)
    ended_at = models.DateTimeField("ended at", null=True, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "recall"
        triggers = append_only()

    def __str__(self) -> str:
        return f"{'drill' if self.drill else 'recall'} of {self.happened_at:%Y-%m-%d}"
