"""Loads of fresh-cut forage, and the probes in their heaps."""

from datetime import datetime
from decimal import Decimal
from typing import Any, ClassVar, Self

from django.contrib.postgres.fields import DateTimeRangeField
from django.contrib.postgres.indexes import GistIndex
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Func, Q, Value
from django.urls import reverse
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from psycopg.types.range import TimestamptzRange

from config.entries import Entry, append_only
from feed.models.amounts import LeftQuerySet, dry_matter, kilos
from feed.models.fields import Field
from feed.window import State, state_at

# What a wagon can carry and what fresh grass can hold; outside of it a number is a slip of the pen.
LOAD_KG = (Decimal(500), Decimal(15_000))
GRASS_DRY_MATTER = (Decimal(8), Decimal(40))
LOAD_WEIGHT = format_lazy(
    _l("A load weighs {least} to {most} kg. Split it, or look at the number again."),
    least=f"{LOAD_KG[0]:,.0f}",
    most=f"{LOAD_KG[1]:,.0f}",
)
GRASS_MATTER = format_lazy(
    _l("Fresh grass holds {least} to {most} %% dry matter; hay and meal are feed lots."),
    least=GRASS_DRY_MATTER[0],
    most=GRASS_DRY_MATTER[1],
)


def lying() -> Func:
    """From the cut until nothing was left, as a range: what GiST finds a moment in."""
    return Func(
        F("happened_at"),
        F("done_at"),
        Value("[]"),
        function="tstzrange",
        output_field=DateTimeRangeField(),
    )


class ForageBatchQuerySet(LeftQuerySet):
    """Loads by where they are in their time."""

    def open(self) -> Self:
        """Standing loads of which something is left."""
        return self.standing().filter(done_at=None)

    def lying_in(self, span: TimestamptzRange) -> Self:
        """Standing loads of which something lay there at some moment of the span."""
        return self.standing().alias(lying=lying()).filter(lying__overlap=span)


class ForageBatch(Entry):
    """One load of fresh-cut forage. It happened when the cut began; every part keeps that time.

    Computed from the cut, the dated window rules and the probe readings (feed/window.py):
    ``first_at`` (feed first from then on), ``deadline`` (past from then on; None without a rule),
    ``heated_at`` (the reading that found it heated). ``air_used``: the day's highest temperature as
    written here, else of the hourly weather; None when neither knows it, and the shortest window
    holds. ``done_at`` is when nothing was left of it.
    """

    field = models.ForeignKey(Field, models.PROTECT, related_name="batches")
    kg = kilos(_l("loaded"), LOAD_KG, LOAD_WEIGHT)
    weighed = models.BooleanField(_l("weighed (else a guess)"), default=True)
    dry_matter = dry_matter(GRASS_DRY_MATTER, GRASS_MATTER)
    wet = models.BooleanField(_l("cut wet"), default=False)
    chopped = models.BooleanField(_l("chopped, or heaped above 60 cm"), default=False)
    air_temperature = models.DecimalField(
        _l("day's highest air temperature, °C"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-20)), MaxValueValidator(Decimal(50))],
    )
    early_reason = models.CharField(
        _l("why it is cut before the field is free"),
        max_length=200,
        blank=True,
        help_text=_l("Only the vet may; the load keeps this mark for good."),
    )
    onto = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="mixed_in",
        verbose_name=_l("tipped onto the heap of"),
        help_text=_l("A mixed heap is as old as the oldest load in it."),
    )
    foreign_matter = models.CharField(
        _l("stones, carcass, soil, weeds"), max_length=120, blank=True
    )
    remark = models.CharField(max_length=200, blank=True)
    air_used = models.DecimalField(
        _l("air the window was computed with, °C"),
        max_digits=4,
        decimal_places=1,
        null=True,
        editable=False,
    )
    first_at = models.DateTimeField(_l("feed first from"), null=True, editable=False)
    deadline = models.DateTimeField(_l("past from"), null=True, editable=False)
    heated_at = models.DateTimeField(_l("found heated at"), null=True, editable=False)
    done_at = models.DateTimeField(_l("nothing left since"), null=True, editable=False)

    objects: ClassVar[Any] = ForageBatchQuerySet.as_manager()

    class Meta(Entry.Meta):
        verbose_name = _l("forage batch")
        verbose_name_plural = _l("forage batches")
        triggers = append_only(
            "air_used", "first_at", "deadline", "heated_at", "done_at", keeps_number=True
        )
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(kg__gt=0),
                name="feed_foragebatch_weighs_something",
                violation_error_message=_l("A load weighs more than 0 kg."),
            ),
            models.CheckConstraint(
                condition=Q(onto=None) | ~Q(onto=F("id")),
                name="feed_foragebatch_not_onto_itself",
                violation_error_message=_l("A load cannot be tipped onto itself."),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            # For the sweep of loads past their window and the board: only open ones.
            models.Index(
                fields=["deadline"],
                condition=Q(done_at=None, struck_at=None),
                name="feed_foragebatch_open",
            ),
            # For last_cut: the newest load of a field.
            models.Index(
                fields=["field", "-happened_at"],
                condition=Q(struck_at=None),
                name="feed_foragebatch_last_cut",
            ),
            # For the board at any moment, flat over ten years.
            GistIndex(lying(), condition=Q(struck_at=None), name="feed_foragebatch_lying"),
        ]

    def __str__(self) -> str:
        return _("load {pk}, {field}").format(pk=self.pk, field=self.field)

    def get_absolute_url(self) -> str:
        return reverse("feed:batch", args=[self.uuid])

    @classmethod
    def find(cls, text: str) -> "ForageBatch":
        """The load with this number. Raises DoesNotExist, or ValueError for no number."""
        digits = text.partition(",")[0].strip().rpartition(" ")[2]
        found: ForageBatch = cls.objects.select_related("field").get(pk=int(digits))
        return found

    def state(self, at: datetime, *, discarded: bool) -> State:
        """Where the load is in its time at ``at``; ``discarded``: some of it was thrown away."""
        return state_at(
            at,
            first_at=self.first_at,
            deadline=self.deadline,
            done_at=self.done_at,
            discarded=discarded,
        )


def last_cut(at: datetime) -> models.Subquery:
    """When a field was cut last before ``at``, as a sub-query on fields; None when never."""
    cuts = ForageBatch.objects.happened_by(at).filter(field=models.OuterRef("pk"))
    return models.Subquery(cuts.order_by("-happened_at").values("happened_at")[:1])


class HeapCheck(Entry):
    """A probe, or a hand, in the heap. Heat beats the clock."""

    batch = models.ForeignKey(ForageBatch, models.PROTECT, related_name="checks")
    heap = models.DecimalField(
        _l("heap, °C"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-5)), MaxValueValidator(Decimal(95))],
    )
    air = models.DecimalField(
        _l("air, °C"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-30)), MaxValueValidator(Decimal(50))],
    )
    warm_to_hand = models.BooleanField(_l("warm to the hand"), default=False)
    extends = models.BooleanField(_l("cool: extend the window once"), default=False)
    extension_reason = models.CharField(_l("why it is extended"), max_length=120, blank=True)
    still_kg = models.DecimalField(
        _l("still lies there, about, kg"),
        max_digits=9,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )

    class Meta(Entry.Meta):
        verbose_name = _l("heap check")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(extends=False) | ~Q(extension_reason=""),
                name="feed_heapcheck_extension_needs_reason",
                violation_error_message=_l("Extending the window needs a reason."),
            ),
            # Two extensions written at the same moment: one of them comes second.
            models.UniqueConstraint(
                fields=["batch"],
                condition=Q(extends=True, struck_at=None),
                name="feed_heapcheck_extends_once",
                violation_error_message=_l(
                    "This load was extended once already; not a second time."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch}: {self.heap} °C"
