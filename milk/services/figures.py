"""Writing down and striking the estate's figures, and computing again what rests on one."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import start_of
from config.entries import Stamp
from milk.models import MilkFigure, Tank
from milk.models.tanks import LONGEST_FLOW
from milk.services.lots import rebuild

MINUTES, MOST = "min", LONGEST_FLOW // timedelta(minutes=1)
NOT_MINUTES = N_("How long a draw lasts is in minutes (min), at most {most}; not {value} {unit}.")


@transaction.atomic
def record_figure(
    *, stamp: Stamp, what: str, value: Decimal, unit: str, valid_from: date, **fields: Any
) -> MilkFigure:
    """Write down a figure valid from a day on. Raises ValidationError by field."""
    if what == MilkFigure.What.LONGEST_DRAW and (unit.strip() != MINUTES or value > MOST):
        words = _(NOT_MINUTES).format(most=MOST, value=value, unit=unit)
        raise ValidationError({"unit" if unit.strip() != MINUTES else "value": words})
    made: MilkFigure = entries.record(
        MilkFigure,
        stamp=stamp,
        what=what,
        value=value,
        unit=unit,
        valid_from=valid_from,
        **fields,
    )
    rests_on(made)
    return made


@transaction.atomic
def strike_figure(
    figure: MilkFigure, *, by: User, reason: str, words: str = "", **options: Any
) -> MilkFigure:
    """Strike a figure; the one before it holds again."""
    struck = entries.strike(figure, by=by, reason=reason, words=words, **options)
    rests_on(struck)
    return struck


def rests_on(figure: MilkFigure) -> None:
    """Compute again what rests on a figure: which lots a draw without an end may hold."""
    if figure.what == MilkFigure.What.LONGEST_DRAW:
        rebuild(tanks=Tank.objects.all(), since=start_of(figure.valid_from))
