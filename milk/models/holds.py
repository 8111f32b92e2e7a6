"""Holds: milk or cheese that nobody may use until two people decide."""

from typing import Any, ClassVar, Self

from django.db import models
from django.db.models import Count, Max, OuterRef, Q, Subquery, Value
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, EntryQuerySet, append_only, keep_rows
from milk.models.lots import MilkLot
from milk.models.tanks import Tank
from milk.models.vats import StarterCan, Vat, Wheel


class HoldQuerySet(EntryQuerySet):
    """Holds by whether they still hold."""

    def with_outcome(self) -> Self:
        """Annotate ``outcome`` and ``decided_at``.

        ``outcome``: what two people decided alike, "cause gone", or "" while it is open.
        """
        agreed = (
            HoldDecision.objects.standing()
            .filter(hold=OuterRef("pk"))
            .order_by()
            .values("hold", "decision")
            .annotate(people=Count("by", distinct=True), last=Max("happened_at"))
            .filter(Q(people__gte=2) | Q(decision=HoldDecision.Decision.CAUSE_GONE))
        )
        return self.annotate(
            outcome=Coalesce(Subquery(agreed.values("decision")[:1]), Value("")),
            decided_at=Subquery(agreed.values("last")[:1]),
        )

    def open(self) -> Self:
        """Standing holds that are not decided."""
        return self.standing().with_outcome().filter(outcome="")

    def refusing(self) -> Self:
        """Holds that keep milk or cheese back: open ones, and those not decided as a release."""
        decision = HoldDecision.Decision
        return (
            self.standing()
            .with_outcome()
            .filter(outcome__in=["", decision.DOWNGRADE, decision.DESTROY])
        )


class Hold(Entry):
    """Nothing of this may be poured, made, sold or released. A hold is closed, never corrected.

    ``tree``: everything below it as it was known at that moment (lots, vats, wheels). Holds the
    computer writes carry a ``cause_key``, so that one cause makes one hold.
    """

    class Reason(models.TextChoices):
        WITHHELD = "withheld", _l("milk inside a withdrawal period")
        INHIBITOR = "inhibitor", _l("inhibitor test positive or in doubt")
        LIMIT = "limit", _l("over a limit")
        FEED = "feed", _l("feed in doubt")
        OTHER = "other", _l("other")

    reason = models.CharField(max_length=9, choices=Reason)
    words = models.CharField(_l("why"), max_length=400)
    lot = models.ForeignKey(MilkLot, models.PROTECT, null=True, blank=True, related_name="holds")
    tank = models.ForeignKey(Tank, models.PROTECT, null=True, blank=True, related_name="holds")
    vat = models.ForeignKey(Vat, models.PROTECT, null=True, blank=True, related_name="holds")
    wheel = models.ForeignKey(Wheel, models.PROTECT, null=True, blank=True, related_name="holds")
    starter_can = models.ForeignKey(
        StarterCan, models.PROTECT, null=True, blank=True, related_name="holds"
    )
    cause_key = models.CharField(max_length=120, blank=True, editable=False)
    tree = models.JSONField(default=dict, editable=False)

    objects: ClassVar[Any] = HoldQuerySet.as_manager()

    class Meta(Entry.Meta):
        verbose_name = _l("hold")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["cause_key"],
                condition=Q(struck_at=None) & ~Q(cause_key=""),
                name="milk_hold_one_per_cause",
                violation_error_message=_l("This cause has a hold already."),
            ),
            models.CheckConstraint(
                condition=Q(lot__isnull=False)
                | Q(tank__isnull=False)
                | Q(vat__isnull=False)
                | Q(wheel__isnull=False)
                | Q(starter_can__isnull=False)
                | ~Q(cause_key=""),
                name="milk_hold_of_something",
                violation_error_message=_l(
                    "Name the lot, tank, vat, wheel or starter can that is held."
                ),
            ),
        ]

    def __str__(self) -> str:
        return _("hold: {words}").format(words=self.words)


class HoldItem(models.Model):
    """A lot that a hold holds; a late entry can add lots to the hold of its cause.

    ``gone_at``: the cause no longer touches this lot since then (a dose struck, a stay corrected),
    while the hold goes on for its other lots. Blank again when it touches it once more.
    """

    pk = models.CompositePrimaryKey("hold_id", "lot_id")
    hold = models.ForeignKey(Hold, models.PROTECT, related_name="items", db_index=False)
    lot = models.ForeignKey(MilkLot, models.PROTECT, related_name="hold_items")
    gone_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        triggers: ClassVar = keep_rows()

    def __str__(self) -> str:
        return _("{lot_id} held by {hold_id}").format(lot_id=self.lot_id, hold_id=self.hold_id)


class HoldDecision(Entry):
    """One person's decision about a hold; two different people must decide the same.

    Each person decides once, so at least one of the two is not the writer of the hold. Shares never
    release: dilution does not make milk fit.
    """

    class Decision(models.TextChoices):
        RELEASE = "release", _l("release")
        DOWNGRADE = "downgrade", _l("use otherwise")
        DESTROY = "destroy", _l("destroy")
        CAUSE_GONE = "cause gone", _l("cause struck or answered")

    hold = models.ForeignKey(Hold, models.PROTECT, related_name="decisions")
    decision = models.CharField(max_length=10, choices=Decision)
    words = models.CharField(_l("why, and by which proof"), max_length=400)

    class Meta(Entry.Meta):
        verbose_name = _l("hold decision")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["hold", "by"],
                condition=Q(struck_at=None),
                name="milk_holddecision_each_person_once",
                violation_error_message=_l("You decided this already; a second person must."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_decision_display()}: {self.hold}"
