"""The last grades of wheels, and the dated rules of grades, ages and faults. Reads only."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.conf import settings

from milk.age import AgeBound, Unit
from milk.figures import figures_on
from milk.models import AgeRule, Fault, Grade, GradeRule, Inspection, MilkFigure

RANK = {grade: place for place, grade in enumerate(Grade.values)}


@dataclass(frozen=True)
class Rules:
    """In force on a day: rules of grades by code, of ages (None when none is written), figures."""

    grades: dict[str, GradeRule]
    ages: tuple[AgeRule, ...] | None
    figures: dict[str, MilkFigure]

    def value(self, what: str) -> Decimal | None:
        """A figure's value; None when nobody set it."""
        row = self.figures.get(what)
        return None if row is None else row.value

    def whole(self, what: str) -> int | None:
        """A figure's value as a whole number; None when nobody set it."""
        value = self.value(what)
        return None if value is None else int(value)

    def bounds(self, grade: str | None) -> tuple[AgeBound, ...] | None:
        """The age rules for a wheel of this grade; None when no rule is written at all.

        A wheel that lost its name by its grade is free of the rules for the name alone.
        """
        if self.ages is None:
            return None
        rule = self.grades.get(grade or "")
        named = rule is None or rule.named
        return tuple(
            AgeBound(row.get_of_display(), row.at_least, as_unit(row), row.scheme)
            for row in self.ages
            if named or row.of != AgeRule.Of.NAMED
        )


def as_unit(row: AgeRule) -> Unit:
    """The unit of a rule, as the rule of ages names it."""
    return "months" if row.unit == AgeRule.Unit.MONTHS else "days"


def rules_on(day: date, market: str = "") -> Rules:
    """The rules in force on a day, with those of a market's scheme; three statements."""
    rows = AgeRule.objects.standing().filter(valid_from__lte=day).order_by("valid_from", "id")
    schemes = {*settings.ESTATE_SCHEMES, *filter(None, [market.strip()])}
    ages = {(row.of, row.scheme): row for row in rows if row.scheme in schemes}
    return Rules(grade_rules_on(day), tuple(ages.values()) or None, figures_on(day))


def grade_rules_on(day: date) -> dict[str, GradeRule]:
    """By grade, the rule in force on a day."""
    rows = GradeRule.objects.standing().filter(valid_from__lte=day).order_by("valid_from", "id")
    return {row.grade: row for row in rows}


def faults_on(day: date) -> list[Fault]:
    """The faults of the list on a day, those that take a grade least first."""
    rows = Fault.objects.standing().filter(valid_from__lte=day)
    return sorted(rows, key=lambda row: (RANK[row.usual_grade], row.where, row.pk))


def last_grades(wheel_ids: Collection[int], at: datetime | None = None) -> dict[int, Inspection]:
    """By wheel (key), its last standing inspection, at ``at`` or now; one statement."""
    if not wheel_ids:
        return {}
    rows = Inspection.objects.standing().filter(wheel_id__in=wheel_ids)
    if at is not None:
        rows = rows.filter(happened_at__lte=at)
    rows = rows.select_related("fault").order_by("wheel_id", "-happened_at", "-id")
    return {row.wheel_id: row for row in rows.distinct("wheel_id")}
