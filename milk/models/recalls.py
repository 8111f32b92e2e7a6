"""Recalls and drills of them: what they start from, what lay below it then, and each step since."""

from decimal import Decimal
from typing import Any, ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.days import day_in_figures
from config.entries import Entry, append_only
from config.language import in_readers_form
from herd.models import Holding
from milk.models.tanks import kilos
from milk.models.vats import Wheel


class Recall(Entry):
    """A recall or a drill of one; it happened when somebody began it.

    ``root``: the number of what it starts from, or what people call it where it has none (a rennet
    batch, "bath/row" of brine, an order). ``tree``: everything below it as it was known then.
    """

    class Root(models.TextChoices):
        WHEEL = "wheel", _l("wheel")
        VAT = "vat", _l("vat")
        LOT = "lot", _l("milk lot")
        ANIMAL = "animal", _l("cow")
        COURSE = "course", _l("course")
        DOSE = "dose", _l("dose")
        BATCH = "batch", _l("load of grass")
        FEED_LOT = "feed-lot", _l("lot of hay or meal")
        FIELD = "field", _l("field")
        GROUP = "group", _l("group")
        TEST = "test", _l("test result")
        CAN = "can", _l("starter can")
        RENNET = "rennet", _l("rennet batch")
        BRINE = "brine", _l("brine bath or row")
        ORDER = "order", _l("order or paper")
        FINDING = "finding", _l("finding outside")

    class Reach(models.TextChoices):
        ITSELF = "itself", _l("only what is named")
        MILK = "milk", _l("everything made of the same milk")
        MAY = "may", _l("also what only may have it")

    root_kind = models.CharField(_l("started from a"), max_length=10, choices=Root)
    root = models.CharField(
        _l("which one"), max_length=80, help_text=_l("What people call it, or its number (id).")
    )
    reach = models.CharField(
        _l("how far"),
        max_length=6,
        choices=Reach,
        default=Reach.ITSELF,
        help_text=_l(
            "Of a wheel, vat, can, rennet batch, bath or order: with all of the same milk? "
            "Of feed: with the groups that may have had of a load whose rest nobody wrote?"
        ),
    )
    since = models.DateTimeField(
        _l("milked or salted since"),
        null=True,
        blank=True,
        help_text=_l("Blank: from the beginning."),
    )
    until = models.DateTimeField(
        _l("milked or salted until"), null=True, blank=True, help_text=_l("Blank: until now.")
    )
    reason = models.CharField(max_length=400)
    drill = models.BooleanField(_l("a drill"), default=False)
    pieces = models.PositiveIntegerField(_l("wheels made"), editable=False, default=0)
    located = models.PositiveIntegerField(
        _l("wheels located at the start"),
        default=0,
        editable=False,
        validators=[MinValueValidator(0), MaxValueValidator(10_000_000)],
    )
    tree = models.JSONField(default=dict, editable=False)

    class Meta(Entry.Meta):
        verbose_name = _l("recall")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(since=None) | Q(until=None) | Q(until__gt=models.F("since")),
                name="milk_recall_until_after_since",
                violation_error_message=_l("The end of the span must be after its beginning."),
            ),
        ]

    def __str__(self) -> str:
        words = _("drill of {day}") if self.drill else _("recall of {day}")
        return words.format(day=day_in_figures(self.local_happened_at))

    def get_absolute_url(self) -> str:
        return f"/milk/recalls/{self.uuid}/"

    @property
    def root_name(self) -> str:
        """What it started from, as people call it."""
        name: str = self.tree.get("name", "")
        return name or f"{self.get_root_kind_display()} {self.root}"


class RecallStep(Entry):
    """One step of a recall: a wheel found or not, a buyer called, an authority told, its end.

    ``result``: of the step that ends it, what was located at that moment; see ``recalls.Result``.
    """

    class What(models.TextChoices):
        FOUND = "found", _l("found here")
        NOT_THERE = "not there", _l("not there")
        CALLED = "called", _l("buyer called")
        RETURNED = "returned", _l("came back")
        DESTROYED = "destroyed", _l("destroyed")
        AUTHORITY = "authority", _l("authority told")
        NOTICE = "notice", _l("notice sent out")
        OTHER = "other", _l("other")
        ENDED = "ended", _l("ended")

    class Answer(models.TextChoices):
        HOLDS = "holds", _l("has it and holds it back")
        SOLD = "sold", _l("sold it on")
        NEVER = "never", _l("never had it")
        LATER = "later", _l("rings back")
        NOBODY = "nobody", _l("nobody answered")

    OF_A_WHEEL: ClassVar = (What.FOUND, What.NOT_THERE, What.RETURNED, What.DESTROYED)

    recall = models.ForeignKey(Recall, models.PROTECT, related_name="steps")
    what = models.CharField(_l("done"), max_length=9, choices=What)
    wheel = models.ForeignKey(
        Wheel, models.PROTECT, null=True, blank=True, related_name="recall_steps"
    )
    buyer = models.ForeignKey(
        Holding, models.PROTECT, null=True, blank=True, related_name="recall_steps"
    )
    spoke_with = models.CharField(_l("spoke with"), max_length=80, blank=True)
    answer = models.CharField(_l("their answer"), max_length=6, choices=Answer, blank=True)
    place = models.CharField(_l("where"), max_length=80, blank=True)
    kg = kilos(_l("weight"), null=True, blank=True)
    paper = models.CharField(_l("paper that proves it"), max_length=80, blank=True)
    words = models.CharField(_l("in words"), max_length=400, blank=True)
    result = models.JSONField(null=True, editable=False)

    class Meta(Entry.Meta):
        verbose_name = _l("step of a recall")
        verbose_name_plural = _l("steps of recalls")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(what__in=["found", "not there", "returned", "destroyed"])
                & Q(wheel__isnull=False)
                | Q(what="called")
                | Q(what__in=["authority", "notice", "other", "ended"], wheel=None),
                name="milk_recallstep_names_its_wheel",
                violation_error_message=_l(
                    "Name the wheel that was found, not there, or destroyed."
                ),
            ),
            models.CheckConstraint(
                condition=Q(what="called", buyer__isnull=False) & ~Q(answer="")
                | ~Q(what="called") & Q(buyer=None, answer=""),
                name="milk_recallstep_call_has_answer",
                violation_error_message=_l(
                    "Of a call say which buyer and what the answer was; of other steps leave both "
                    "blank."
                ),
            ),
            models.CheckConstraint(
                condition=~Q(what="called", answer__in=["holds", "sold", "never", "later"])
                | ~Q(spoke_with=""),
                name="milk_recallstep_says_who_spoke",
                violation_error_message=_l("Say who spoke at the buyer's."),
            ),
            models.CheckConstraint(
                condition=~Q(what="destroyed") | ~Q(paper=""),
                name="milk_recallstep_destroyed_with_proof",
                violation_error_message=_l("Name the paper that proves it was destroyed."),
            ),
            models.CheckConstraint(
                condition=~Q(what__in=["authority", "other"]) | ~Q(words=""),
                name="milk_recallstep_said",
                violation_error_message=_l("Say in words what was done, or what was said."),
            ),
        ]

    def __str__(self) -> str:
        thing = self.wheel or self.buyer or self.recall
        return f"{self.get_what_display()}: {thing}"

    @classmethod
    def lasting(cls) -> Any:
        """Steps in the order they happened, struck ones left out."""
        return cls.objects.standing().order_by("happened_at", "written_at", "id")


class ProductOut(Entry):
    """Cream, butter or whey of a day's make that left the estate: to whom, with which paper.

    Cream and butter are of the trays filled on ``of_day``, whey of the vats made on it; which tray
    a pound of butter came from nobody knows, so all of them count.
    """

    class What(models.TextChoices):
        CREAM = "cream", _l("cream")
        BUTTER = "butter", _l("butter")
        WHEY = "whey", _l("whey")

    what = models.CharField(max_length=6, choices=What)
    of_day = models.DateField(_l("made of the milk of"))
    buyer = models.ForeignKey(Holding, models.PROTECT, related_name="products_out")
    kg = models.DecimalField(
        _l("weight, kg"),
        max_digits=10,
        decimal_places=3,
        validators=[MinValueValidator(Decimal("0.001"))],
    )
    paper = models.CharField(_l("paper number"), max_length=40)

    class Meta(Entry.Meta):
        verbose_name = _l("product sent out")
        verbose_name_plural = _l("products sent out")
        triggers = append_only()
        indexes = [
            *Entry.Meta.indexes,
            # For milk.recalls_below: what was made of the days of a recall.
            models.Index(fields=["of_day"], name="milk_productout_day"),
        ]

    def __str__(self) -> str:
        return _("{kg} kg of {what} to {buyer}").format(
            kg=in_readers_form(f"{self.kg.normalize():f}"), what=self.what, buyer=self.buyer
        )
