"""What somebody outside found in milk or cheese of the estate, and what was done about it."""

import uuid as uuids
from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from config.entries import Entry, append_only

NO_SUCH_FINDING = "No finding has the paper number “{text}”."


class OutsideFinding(Entry):
    """Something found in our milk or cheese elsewhere; it happened when we were told.

    ``about``: the number of what it was found in, or what people call it (an order or a paper);
    ``about_name`` is what it was called then. A recall may start from it.
    """

    class By(models.TextChoices):
        BUYER = "buyer", "a buyer"
        LABORATORY = "laboratory", "a laboratory"
        AUTHORITY = "authority", "an authority"
        OTHER = "other", "somebody else"

    class About(models.TextChoices):
        WHEEL = "wheel", "wheel"
        VAT = "vat", "vat"
        LOT = "lot", "milk lot"
        ORDER = "order", "order or paper"

    class What(models.TextChoices):
        RESIDUE = "residue", "residue of a medicine"
        CONTAMINANT = "contaminant", "aflatoxin, pesticide or another contaminant"
        GERM = "germ", "germ that makes ill"
        FOREIGN = "foreign", "foreign body"
        OTHER = "other", "something else"

    found_by = models.CharField("found by", max_length=10, choices=By)
    who = models.CharField("who told us", max_length=80, help_text="Name, firm or office, phone.")
    about_kind = models.CharField("found in a", max_length=5, choices=About)
    about = models.CharField(
        "which one", max_length=80, help_text="Plate, day/vat, lot code, order or paper number."
    )
    about_name = models.CharField(max_length=120, editable=False)
    what = models.CharField(max_length=11, choices=What)
    substance = models.CharField("substance, germ or thing", max_length=80)
    result = models.CharField(
        "result as written", max_length=40, blank=True, help_text="With its unit: 12 µg/kg."
    )
    allowed = models.CharField("limit they name", max_length=40, blank=True)
    sample = models.CharField("their sample", max_length=40, blank=True)
    sampled_on = models.DateField("sampled on", null=True, blank=True)
    paper = models.CharField("their paper or letter", max_length=80)
    words = models.CharField("in words", max_length=400, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "finding outside"
        verbose_name_plural = "findings outside"
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.substance} in {self.about_name}, {self.paper}"

    def get_absolute_url(self) -> str:
        return f"/milk/findings/{self.uuid}/"

    @classmethod
    def find(cls, text: str) -> "OutsideFinding":
        """The latest standing finding with this paper, or that of this id. Raises DoesNotExist."""
        text = text.strip()
        try:
            found: OutsideFinding = cls.objects.get(uuid=uuids.UUID(text))
        except ValueError:
            rows = cls.objects.standing().filter(paper__iexact=text)
            latest: OutsideFinding | None = rows.order_by("-id").first()
            if latest is None:
                raise cls.DoesNotExist(NO_SUCH_FINDING.format(text=text[:60])) from None
            return latest
        return found


class OutsideStep(Entry):
    """One step in the file of a finding: told, asked, the cause, what is changed, closed."""

    class What(models.TextChoices):
        AUTHORITY = "authority", "authority told"
        FINDER = "finder", "answered to who told us"
        SAMPLE = "sample", "looked into again, sample or count"
        CAUSE = "cause", "cause found"
        CURE = "cure", "changed, so that it does not happen again"
        OTHER = "other", "other"
        CLOSED = "closed", "file closed"

    finding = models.ForeignKey(OutsideFinding, models.PROTECT, related_name="steps")
    what = models.CharField("done", max_length=9, choices=What)
    words = models.CharField("in words", max_length=400)
    paper = models.CharField("paper, letter or number", max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "step of a finding"
        verbose_name_plural = "steps of findings"
        triggers = append_only()
        constraints: ClassVar[list[Any]] = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["finding"],
                condition=Q(struck_at=None, what="closed"),
                name="milk_outsidestep_closed_once",
                violation_error_message="This file is closed already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.finding}"
