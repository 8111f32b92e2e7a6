"""Milk that was kept out of the tank, a cow milked into it by mistake, and the herd's status."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.days import day_in_figures
from config.entries import Entry, append_only
from herd.models import Animal, Group
from herd.models.groups import Session
from milk.models.holds import Hold
from milk.models.tanks import Tank, TankEvent, kilos


class WithheldMilk(Entry):
    """Milk kept out at a milking: of one cow or several, how much, why, and where it went."""

    class Reason(models.TextChoices):
        TREATED = "treated", _l("inside a withdrawal period")
        COLOSTRUM = "colostrum", _l("freshly calved")
        UNFIT = "unfit", _l("not normal, or the cow is sick")
        UNKNOWN = "unknown", _l("cow or treatment not known")
        OTHER = "other", _l("other")

    class Went(models.TextChoices):
        WASTE = "waste", _l("waste or slurry")
        OWN_CALF = "own calf", _l("to her own calf")
        DESTROYED = "destroyed", _l("destroyed, with a paper")

    day = models.DateField()
    session = models.CharField(_l("milking"), max_length=1, choices=Session)
    group = models.ForeignKey(
        Group, models.PROTECT, null=True, blank=True, related_name="withheld_milk"
    )
    animal = models.ForeignKey(
        Animal, models.PROTECT, null=True, blank=True, related_name="withheld_milk"
    )
    cows = models.PositiveSmallIntegerField(
        _l("number of cows"), default=1, validators=[MinValueValidator(1), MaxValueValidator(500)]
    )
    kg = kilos(_l("milk"))
    reason = models.CharField(max_length=9, choices=Reason)
    went = models.CharField(_l("where it went"), max_length=9, choices=Went, default=Went.WASTE)
    calf = models.ForeignKey(
        Animal, models.PROTECT, null=True, blank=True, related_name="fed_withheld_milk"
    )
    paper = models.CharField(_l("paper"), max_length=40, blank=True)
    remark = models.CharField(max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("withheld milk")
        verbose_name_plural = _l("withheld milk")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(went="own calf", animal__isnull=False, calf__isnull=False)
                | ~Q(went="own calf") & Q(calf=None),
                name="milk_withheldmilk_calf_named",
                violation_error_message=_l(
                    "Milk to her own calf needs the cow and her calf; other milk has no calf."
                ),
            ),
            models.CheckConstraint(
                condition=Q(animal__isnull=False, cows=1)
                | Q(animal__isnull=True, group__isnull=False),
                name="milk_withheldmilk_whose",
                violation_error_message=_l("Name one cow, or a group and how many of its cows."),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            models.Index(fields=["day", "session"], name="milk_withheldmilk_day"),
        ]

    def __str__(self) -> str:
        return _("{kg} kg of {animal}, {went}").format(
            kg=self.kg, animal=self.animal or self.group, went=self.get_went_display()
        )


class WrongCow(Entry):
    """A cow whose milk may not be in it was milked into a tank; it happened when she was milked.

    ``animal`` blank: nobody knows who she is. ``tank_kg``: what was in the tank then, hers
    included; blank when nobody knew. The hold and the line switch are written in the same act.
    """

    tank = models.ForeignKey(Tank, models.PROTECT, related_name="wrong_cows")
    animal = models.ForeignKey(
        Animal, models.PROTECT, null=True, blank=True, related_name="milked_by_mistake"
    )
    group = models.ForeignKey(
        Group, models.PROTECT, null=True, blank=True, related_name="wrong_cows"
    )
    kg = kilos(_l("her milk"), null=True, blank=True)
    tank_kg = kilos(_l("in the tank then"), null=True, blank=True)
    to_tank = models.ForeignKey(
        Tank,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="instead_of_held",
        verbose_name=_l("the rest of the milking goes to"),
    )
    bottle_1 = models.CharField(_l("sealed bottle 1"), max_length=30, blank=True)
    bottle_2 = models.CharField(_l("sealed bottle 2"), max_length=30, blank=True)
    hold = models.OneToOneField(Hold, models.PROTECT, editable=False, related_name="wrong_cow")
    switch = models.OneToOneField(
        TankEvent, models.PROTECT, null=True, editable=False, related_name="wrong_cow"
    )

    class Meta(Entry.Meta):
        verbose_name = _l("wrong cow in a tank")
        verbose_name_plural = _l("wrong cows in tanks")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(kg=None) | Q(tank_kg=None) | Q(kg__lte=models.F("tank_kg")),
                name="milk_wrongcow_part_of_the_tank",
                violation_error_message=_l("Her milk cannot be more than what was in the tank."),
            ),
            models.CheckConstraint(
                condition=Q(to_tank=None) | ~Q(to_tank=models.F("tank")),
                name="milk_wrongcow_to_another_tank",
                violation_error_message=_l("The rest must go to another tank than the one held."),
            ),
            models.CheckConstraint(
                condition=Q(bottle_1="") | ~Q(bottle_1=models.F("bottle_2")),
                name="milk_wrongcow_two_bottles",
                violation_error_message=_l("The two bottles need a number each."),
            ),
        ]

    def __str__(self) -> str:
        return _("{animal} into {tank}").format(animal=self.animal or "unknown cow", tank=self.tank)


class HerdStatus(Entry):
    """From a moment on the herd is officially free of a disease, or is not any more."""

    class Disease(models.TextChoices):
        BRUCELLOSIS = "brucellosis", _l("brucellosis")
        TUBERCULOSIS = "tuberculosis", _l("tuberculosis")

    disease = models.CharField(max_length=12, choices=Disease)
    free = models.BooleanField(_l("officially free"), default=True)
    source = models.CharField(_l("who said so, by which paper"), max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("status of the herd")
        verbose_name_plural = _l("statuses of the herd")
        triggers = append_only()

    def __str__(self) -> str:
        word = _("officially free") if self.free else _("not officially free")
        return _("{word} of {disease} since {on}").format(
            word=word, disease=self.get_disease_display(), on=day_in_figures(self.local_happened_at)
        )
