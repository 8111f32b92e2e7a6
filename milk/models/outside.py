"""What somebody outside found in milk or cheese of the estate, and what was done about it."""

import uuid as uuids
from typing import Any, ClassVar

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.entries import Entry, append_only

NO_SUCH_FINDING = N_("No finding has the paper number “{text}”.")


class OutsideFinding(Entry):
    """Something found in our milk or cheese elsewhere; it happened when we were told.

    ``about``: the number of what it was found in, or what people call it (an order or a paper);
    ``about_name`` is what it was called then. A recall may start from it.
    """

    class By(models.TextChoices):
        BUYER = "buyer", _l("a buyer")
        LABORATORY = "laboratory", _l("a laboratory")
        AUTHORITY = "authority", _l("an authority")
        OTHER = "other", _l("somebody else")

    class About(models.TextChoices):
        WHEEL = "wheel", _l("wheel")
        VAT = "vat", _l("vat")
        LOT = "lot", _l("milk lot")
        ORDER = "order", _l("order or paper")

    class What(models.TextChoices):
        RESIDUE = "residue", _l("residue of a medicine")
        CONTAMINANT = "contaminant", _l("aflatoxin, pesticide or another contaminant")
        GERM = "germ", _l("germ that makes ill")
        FOREIGN = "foreign", _l("foreign body")
        OTHER = "other", _l("something else")

    found_by = models.CharField(_l("found by"), max_length=10, choices=By)
    who = models.CharField(
        _l("who told us"), max_length=80, help_text=_l("Name, firm or office, phone.")
    )
    about_kind = models.CharField(_l("found in a"), max_length=5, choices=About)
    about = models.CharField(
        _l("which one"),
        max_length=80,
        help_text=_l("Plate, day/vat, lot code, order or paper number."),
    )
    about_name = models.CharField(max_length=120, editable=False)
    what = models.CharField(max_length=11, choices=What)
    substance = models.CharField(_l("substance, germ or thing"), max_length=80)
    result = models.CharField(
        _l("result as written"), max_length=40, blank=True, help_text=_l("With its unit: 12 µg/kg.")
    )
    allowed = models.CharField(_l("limit they name"), max_length=40, blank=True)
    sample = models.CharField(_l("their sample"), max_length=40, blank=True)
    sampled_on = models.DateField(_l("sampled on"), null=True, blank=True)
    paper = models.CharField(_l("their paper or letter"), max_length=80)
    words = models.CharField(_l("in words"), max_length=400, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("finding outside")
        verbose_name_plural = _l("findings outside")
        triggers = append_only()

    def __str__(self) -> str:
        return _("{substance} in {about_name}, {paper}").format(
            substance=self.substance, about_name=self.about_name, paper=self.paper
        )

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
                raise cls.DoesNotExist(_(NO_SUCH_FINDING).format(text=text[:60])) from None
            return latest
        return found


class OutsideStep(Entry):
    """One step in the file of a finding: told, asked, the cause, what is changed, closed."""

    class What(models.TextChoices):
        AUTHORITY = "authority", _l("authority told")
        FINDER = "finder", _l("answered to who told us")
        SAMPLE = "sample", _l("looked into again, sample or count")
        CAUSE = "cause", _l("cause found")
        CURE = "cure", _l("changed, so that it does not happen again")
        OTHER = "other", _l("other")
        CLOSED = "closed", _l("file closed")

    finding = models.ForeignKey(OutsideFinding, models.PROTECT, related_name="steps")
    what = models.CharField(_l("done"), max_length=9, choices=What)
    words = models.CharField(_l("in words"), max_length=400)
    paper = models.CharField(_l("paper, letter or number"), max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("step of a finding")
        verbose_name_plural = _l("steps of findings")
        triggers = append_only()
        constraints: ClassVar[list[Any]] = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["finding"],
                condition=Q(struck_at=None, what="closed"),
                name="milk_outsidestep_closed_once",
                violation_error_message=_l("This file is closed already."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.finding}"
