"""Holdings, animals and what happens to their ear tags."""

import re
import uuid as uuids
from contextlib import suppress
from typing import Any, ClassVar, Self

from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, EntryQuerySet, append_only
from herd.tags import plain_tag, spellings

EAR_TAG = re.compile(r"(?:[A-Z]{2}|[0-9]{3})[0-9]{1,12}")
EAR_TAG_SHAPE = _l(
    "“%(value)s” is no ear tag. Expected a country (two letters or three digits) and at most "
    "12 digits, without spaces, such as 999000000001042."
)


# As people read a tag from a paper: with spaces, dots or dashes between the figures.
LONGEST_TYPED = 30


class TagField(models.CharField[str, str]):
    """A tag as it is stored; forms and API take it as people write it, the services read it."""

    longest_typed = LONGEST_TYPED

    def formfield(self, **options: Any) -> Any:
        return super().formfield(**{"max_length": self.longest_typed, **options})

    def stored(self, text: str) -> str:
        """The one spelling of a tag that the column keeps."""
        return plain_tag(text)

    def deconstruct(self) -> Any:
        # The database sees an ordinary column of characters.
        name, _, args, options = super().deconstruct()
        return name, "django.db.models.CharField", args, options


def called(farm_number: int | None, ear_tag: str) -> str:
    """What people call an animal: her farm number, or the ear tag of one without."""
    return f"{farm_number:04d}" if farm_number else ear_tag


class Holding(Entry):
    """A farm, dairy, supplier or buyer; our own estate is one too."""

    name = models.CharField(max_length=120)
    number = models.CharField(_l("holding number"), max_length=32, blank=True)
    approval = models.CharField(_l("approval number"), max_length=32, blank=True)
    address = models.CharField(max_length=240, blank=True)
    phone = models.CharField(max_length=40, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("holding")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name"],
                condition=Q(struck_at=None),
                name="herd_holding_one_per_name",
                violation_error_message=_l("There is a holding with this name already."),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class AnimalQuerySet(EntryQuerySet):
    """Animals by what people call them."""

    def called(self, text: str) -> Self:
        """Standing animals with this farm number, ear tag (also a replaced one) or number."""
        text = text.strip()
        worn = spellings(text)
        names = Q(ear_tag__in=worn) | Q(tag_events__new_tag__in=worn, tag_events__struck_at=None)
        if text.isascii() and text.isdecimal() and len(text) <= 4:
            names |= Q(farm_number=int(text))
        with suppress(ValueError):
            names |= Q(uuid=uuids.UUID(text))
        return self.standing().filter(names).distinct()


class Animal(Entry):
    """One animal; it happened when she was born here or arrived."""

    class Sex(models.TextChoices):
        FEMALE = "F", _l("female")
        MALE = "M", _l("male")

    ear_tag = TagField(
        _l("ear tag"),
        max_length=15,
        validators=[RegexValidator(re.compile(rf"^{EAR_TAG.pattern}$"), EAR_TAG_SHAPE)],
    )
    farm_number = models.PositiveSmallIntegerField(
        _l("farm number"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(9999)],
    )
    electronic_number = TagField(
        _l("electronic number"),
        max_length=15,
        blank=True,
        validators=[RegexValidator(r"^[0-9]{15}$", _l("Expected 15 digits (ISO 11784)."))],
    )
    sex = models.CharField(max_length=1, choices=Sex, default=Sex.FEMALE)
    born_on = models.DateField(_l("born on"), null=True, blank=True)
    breed = models.CharField(max_length=8, blank=True)
    dam = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="calves")
    sire = models.CharField(max_length=32, blank=True)
    arrived_from = models.ForeignKey(
        Holding,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_l("arrived from"),
    )
    marks = models.CharField(max_length=200, blank=True)

    objects: ClassVar[Any] = AnimalQuerySet.as_manager()

    class Meta(Entry.Meta):
        verbose_name = _l("animal")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["ear_tag"],
                condition=Q(struck_at=None),
                name="herd_animal_one_per_ear_tag",
                violation_error_message=_l("There is an animal with this ear tag already."),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            models.Index(fields=["farm_number"], name="herd_animal_farm_number"),
        ]

    def __str__(self) -> str:
        return called(self.farm_number, self.ear_tag)

    def get_absolute_url(self) -> str:
        return f"/herd/animals/{self.uuid}/"

    def current_tag(self) -> str:
        """The ear tag she wears: of the last replacement, else the one she came with."""
        replaced = self.tag_events.filter(struck_at=None).exclude(new_tag="")
        newest = replaced.order_by("-happened_at").values_list("new_tag", flat=True).first()
        return newest or self.ear_tag

    @classmethod
    def find(cls, text: str) -> "Animal":
        """The animal people call ``text``. Raises DoesNotExist, or ValueError when it is two."""
        found = list(cls.objects.called(text)[:2])
        if not found:
            raise cls.DoesNotExist(
                _("No animal is called “{text}”. Expected a farm number or an ear tag.").format(
                    text=text
                )
            )
        if len(found) > 1:
            raise ValueError(f"Two animals are called “{text}”. Use the ear tag.")
        animal: Animal = found[0]
        return animal


class TagEvent(Entry):
    """An ear tag lost, replaced, or an electronic one that no longer answers."""

    class What(models.TextChoices):
        LOST = "lost", _l("lost")
        REPLACED = "replaced", _l("replaced")
        SILENT = "silent", _l("electronic tag silent")

    class Ear(models.TextChoices):
        LEFT = "L", _l("left")
        RIGHT = "R", _l("right")
        BOTH = "B", _l("both")

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="tag_events")
    what = models.CharField(max_length=8, choices=What)
    ear = models.CharField(max_length=1, choices=Ear)
    new_tag = TagField(
        _l("new ear tag"),
        max_length=15,
        blank=True,
        validators=[RegexValidator(re.compile(rf"^{EAR_TAG.pattern}$"), EAR_TAG_SHAPE)],
    )
    proof = models.CharField(_l("how she was known"), max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("tag event")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(what="replaced") | ~Q(new_tag="") & ~Q(proof=""),
                name="herd_tagevent_replaced_needs_tag_and_proof",
                violation_error_message=_l(
                    "A replaced tag needs the new tag and how she was known."
                ),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            models.Index(
                fields=["new_tag"], condition=~Q(new_tag=""), name="herd_tagevent_new_tag"
            ),
        ]

    def __str__(self) -> str:
        return _("{animal}: tag {what}").format(animal=self.animal, what=self.get_what_display())


class BreedRule(Entry):
    """How long animals of a breed carry, from a day on, and where that is printed."""

    breed = models.CharField(_l("breed code"), max_length=8)
    name = models.CharField(_l("name of the breed"), max_length=60)
    gestation_days = models.PositiveSmallIntegerField(
        _l("days carried"), validators=[MinValueValidator(250), MaxValueValidator(310)]
    )
    heifer_less = models.PositiveSmallIntegerField(
        _l("days less at a first calving"), default=0, validators=[MaxValueValidator(10)]
    )
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("breed rule")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["breed", "valid_from"],
                condition=Q(struck_at=None),
                name="herd_breedrule_one_per_day",
                violation_error_message=_l("This breed has a rule from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return _("{breed}: {gestation_days} days from {valid_from}").format(
            breed=self.breed, gestation_days=self.gestation_days, valid_from=self.valid_from
        )


class LegBand(Entry):
    """The mark that says “not for the tank” was put on a cow, or taken off."""

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="leg_bands")
    on = models.BooleanField(_l("put on (else taken off)"), default=True)

    class Meta(Entry.Meta):
        verbose_name = _l("leg band")
        triggers = append_only()
        indexes = [
            *Entry.Meta.indexes,
            # For the lists: the latest word on each animal's band.
            models.Index(
                fields=["animal", "-happened_at"],
                condition=Q(struck_at=None),
                name="herd_legband_latest",
            ),
        ]

    def __str__(self) -> str:
        if self.on:
            return _("{animal}: band on").format(animal=self.animal)
        return _("{animal}: band off").format(animal=self.animal)
