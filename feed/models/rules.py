"""Dated rules of the estate: how long cut grass may lie, and the shares the feed must keep."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from feed.figures import figure_choices
from feed.models.feedings import FeedLot
from feed.ration import Bounds
from herd.models import Group


class WindowRule(Entry):
    """From a day on: how many hours cut grass may lie in a band of air temperature.

    The estate's own judgement: no published time until cut grass heats was found. A band reaches
    from ``from_temperature`` (included) to the next band's; ``wet_factor`` shortens it for grass
    cut wet, chopped or heaped high; a heap this much warmer than the air, or this warm, is past.
    """

    from_temperature = models.DecimalField(
        _l("from day's highest air temperature, °C"), max_digits=4, decimal_places=1
    )
    hours = models.DecimalField(
        _l("hours from the start of the cut"),
        max_digits=4,
        decimal_places=1,
        validators=[MinValueValidator(Decimal("0.5")), MaxValueValidator(Decimal(72))],
    )
    wet_factor = models.DecimalField(
        _l("factor when wet or chopped"),
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.75"),
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(Decimal(1))],
    )
    first_share = models.DecimalField(
        _l("feed first in the last part of the window"),
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.25"),
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(1))],
    )
    extension_share = models.DecimalField(
        _l("a cool heap may be extended once by this part of the window"),
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.25"),
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal("0.5"))],
    )
    heap_over_air = models.DecimalField(
        _l("heap past when warmer than the air by, °C"),
        max_digits=4,
        decimal_places=1,
        default=Decimal(8),
    )
    heap_top = models.DecimalField(
        _l("heap past when as warm as, °C"),
        max_digits=4,
        decimal_places=1,
        default=Decimal(35),
    )
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("window rule")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["from_temperature", "valid_from"],
                condition=Q(struck_at=None),
                name="feed_windowrule_one_per_band",
                violation_error_message=_l("This temperature has a rule from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return _("from {from_temperature} °C: {hours} h").format(
            from_temperature=self.from_temperature, hours=self.hours
        )


class ClearanceRule(Entry):
    """From a day on: what is cut on one day is out of the trough by an hour of the next.

    Common practice, beside the hours by temperature (the earlier of both holds) or instead of
    them. Without ``clear_by`` no such hour holds from that day on.
    """

    clear_by = models.TimeField(_l("cleared the next day by"), null=True, blank=True)
    instead = models.BooleanField(_l("instead of the hours by temperature"), default=False)
    first_share = models.DecimalField(
        _l("feed first in the last part of the window"),
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.25"),
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(1))],
    )
    heap_over_air = models.DecimalField(
        _l("heap past when warmer than the air by, °C"),
        max_digits=4,
        decimal_places=1,
        default=Decimal(8),
    )
    heap_top = models.DecimalField(
        _l("heap past when as warm as, °C"), max_digits=4, decimal_places=1, default=Decimal(35)
    )
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("clearance rule")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["valid_from"],
                condition=Q(struck_at=None),
                name="feed_clearancerule_one_per_day",
                violation_error_message=_l("That day has a clearance rule already."),
            ),
        ]

    def __str__(self) -> str:
        return (
            _("cleared by {clear_by}").format(clear_by=f"{self.clear_by:%H:%M}")
            if self.clear_by
            else _("no clearance hour")
        )


class FeedShareRule(Entry):
    """A share the feed must keep, as the scheme the estate follows writes it."""

    class Over(models.TextChoices):
        DAY = "day", _l("a day")
        GROUP = "group", _l("a group and day")
        YEAR = "year", _l("a year")

    class Unit(models.TextChoices):
        PERCENT = "%", _l("per cent")
        RATIO = "ratio", _l("kg for a kg")

    name = models.CharField(max_length=80)
    kind = models.CharField(_l("feed it counts"), max_length=40)
    of = models.CharField(_l("out of"), max_length=40)
    at_least = models.DecimalField(
        _l("at least"), max_digits=5, decimal_places=2, null=True, blank=True
    )
    at_most = models.DecimalField(
        _l("at most"), max_digits=5, decimal_places=2, null=True, blank=True
    )
    unit = models.CharField(_l("counted in"), max_length=5, choices=Unit, default=Unit.PERCENT)
    over = models.CharField(_l("counted over"), max_length=5, choices=Over)
    scheme = models.CharField(max_length=60)
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("feed share rule")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(at_least__isnull=False) | Q(at_most__isnull=False),
                name="feed_feedsharerule_needs_a_bound",
                violation_error_message=_l("Give the least or the most share."),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def bounds(self) -> Bounds:
        """The rule as the arithmetic takes it."""
        return Bounds(
            part=self.kind,
            whole=self.of,
            at_least=self.at_least,
            at_most=self.at_most,
            ratio=self.unit == self.Unit.RATIO,
        )

    def keeps(self, percent: Decimal) -> bool:
        """Whether a share in the rule's unit lies within the rule; its bounds themselves do."""
        return self.bounds.keeps(percent)


class FeedRule(Entry):
    """A feed that a scheme forbids, or warns of; every condition given must be met.

    ``name_has``: parts of a feed's name, one of them is enough, separated by commas.
    ``water_above`` in per cent of the fresh weight, ``aflatoxin_above`` in µg a kg.
    """

    class Act(models.TextChoices):
        REFUSE = "refuse", _l("refuse it")
        WARN = "warn", _l("warn")

    scheme = models.CharField(max_length=60)
    name = models.CharField(_l("what is forbidden"), max_length=80)
    act = models.CharField(_l("do what"), max_length=6, choices=Act, default=Act.REFUSE)
    kind = models.CharField(_l("kind of feed"), max_length=7, choices=FeedLot.Kind, blank=True)
    kept_as = models.CharField(_l("kept how"), max_length=9, choices=FeedLot.Kept, blank=True)
    name_has = models.CharField(_l("words in its name"), max_length=200, blank=True)
    water_above = models.DecimalField(
        _l("more water than, %"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    aflatoxin_above = models.DecimalField(
        _l("more aflatoxin B1 than, µg a kg"), max_digits=6, decimal_places=2, null=True, blank=True
    )
    valid_from = models.DateField(_l("valid from"))
    valid_to = models.DateField(_l("valid to, if it ended"), null=True, blank=True)
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("forbidden feed")
        verbose_name_plural = _l("forbidden feeds")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(kept_as="")
                | ~Q(name_has="")
                | Q(water_above__isnull=False)
                | Q(aflatoxin_above__isnull=False),
                name="feed_feedrule_needs_a_condition",
                violation_error_message=_l(
                    "Say how it was kept, what it is called, or a limit; "
                    "else it would forbid everything."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.scheme})"


class FeedFigure(Entry):
    """A figure of the estate from a day on: a price, a weight, a time; ``feed.figures`` lists them.

    The unit is the one listed there; it is written beside the value so that paper says it too.
    """

    name = models.CharField(_l("which figure"), max_length=40, choices=figure_choices)
    value = models.DecimalField(max_digits=12, decimal_places=3)
    unit = models.CharField(max_length=40, editable=False)
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("feed figure")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name", "valid_from"],
                condition=Q(struck_at=None),
                name="feed_feedfigure_one_per_day",
                violation_error_message=_l("This figure has a value from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_name_display()}: {self.value.normalize():f} {self.unit}"


class GrassTarget(Entry):
    """From a day on: the dry matter from fresh grass a cow of a group shall get a day."""

    group = models.ForeignKey(Group, models.PROTECT, related_name="grass_targets")
    dry_matter_kg = models.DecimalField(
        _l("dry matter from grass, kg a cow and day"),
        max_digits=4,
        decimal_places=2,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(30))],
    )
    valid_from = models.DateField(_l("valid from"))

    class Meta(Entry.Meta):
        verbose_name = _l("grass target")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["group", "valid_from"],
                condition=Q(struck_at=None),
                name="feed_grasstarget_one_per_day",
                violation_error_message=_l("This group has a target from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return _("{group}: {dry_matter_kg} kg dry matter from grass a cow").format(
            group=self.group, dry_matter_kg=self.dry_matter_kg
        )
