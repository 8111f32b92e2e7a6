"""Window rules: a new one acts on the loads it covers, and never gives one of them more time."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from config.jobs import ask
from config.templatetags.sheet import amount
from feed.models import ClearanceRule, WindowRule
from feed.services.deadlines import FLAG_TASK, recompute_since

Dated = WindowRule | ClearanceRule

LONGER_THAN_COOLER = N_(
    "{hours} h is longer than the {least} h of the cooler band from {from_} °C. Warmer grass never "
    "lies longer: enter the cooler band first, or look at the hours."
)


@transaction.atomic
def record_window_rule(
    *, stamp: Stamp, valid_from: date, from_temperature: Decimal, hours: Decimal, **fields: Any
) -> WindowRule:
    """Write a dated rule; loads cut since its day get the shorter window at once.

    Raises ValidationError by field, also when a cooler band allows less.
    """
    check_not_longer_than_cooler(valid_from, from_temperature, hours)
    rule = entries.record(
        WindowRule,
        stamp=stamp,
        valid_from=valid_from,
        from_temperature=from_temperature,
        hours=hours,
        **fields,
    )
    recompute_since(valid_from)
    ask(FLAG_TASK)
    return rule


@transaction.atomic
def strike_rule(rule: Dated, **why: Any) -> Dated:
    """Strike a dated rule. Loads cut under it keep its window; to those before, it never was."""
    struck = entries.strike(rule, **why)
    recompute_since(struck.valid_from)
    ask(FLAG_TASK)
    return struck


@transaction.atomic
def record_clearance_rule(*, stamp: Stamp, valid_from: date, **fields: Any) -> ClearanceRule:
    """Write a dated clearance rule; loads cut since its day get the shorter window at once.

    Raises ValidationError by field.
    """
    rule = entries.record(ClearanceRule, stamp=stamp, valid_from=valid_from, **fields)
    recompute_since(valid_from)
    ask(FLAG_TASK)
    return rule


def check_not_longer_than_cooler(day: date, from_temperature: Decimal, hours: Decimal) -> None:
    """Refuse hours that a cooler band in force on that day would cut short anyway.

    Raises ValidationError at ``hours``.
    """
    cooler = (
        WindowRule.objects.standing()
        .filter(from_temperature__lt=from_temperature, valid_from__lte=day)
        .order_by("from_temperature", "-valid_from")
        .distinct("from_temperature")
    )
    least = min(cooler, key=lambda rule: rule.hours, default=None)
    if least is not None and hours > least.hours:
        words = _(LONGER_THAN_COOLER).format(
            hours=amount(hours), least=amount(least.hours), from_=amount(least.from_temperature)
        )
        raise ValidationError({"hours": words})
