"""Looks at trays: cream off, fat after, set aside; and morning milk kept over for them."""

from collections.abc import Collection
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import Sum
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local, local_day
from config.entries import Stamp
from config.errors import Conflict
from milk.figures import figures_on
from milk.held import check_may_pour
from milk.in_tanks import in_tanks
from milk.limits import plain
from milk.models import KeptOver, MilkFigure, Milking, Skimming, Tank, Tray
from milk.services.changing import strike_milk
from milk.services.flowing import check_stands, check_weight, weight

TRAY_NOT_YET = N_("{tray} was filled at {filled}; nobody can have looked at it at {at}.")
NOTHING_SEEN = N_(
    "Write what was seen: cream taken, temperature, fat, smell, set aside, or a remark."
)
TOO_MUCH_CREAM = N_(
    "{cream} kg of cream with what was taken before is as much as {tray} held ({kg} kg). "
    "Look at the kg."
)
SET_ASIDE = N_(
    "{tray} was set aside at {at} by {by} ({why}). It may not be poured. Strike that look, or "
    "write a new one, if it is fit after all."
)
KEPT_LEFT = N_("By the book {tank} holds {left} kg; {kg} kg cannot be kept over in it.")
KEPT_TOO_MUCH = N_(
    "{kg} kg kept over is {share} % of this morning's {morning} kg; at most {most} % may be "
    "({source}). Say why, or correct the kg."
)
KEPT_TOO_COLD = N_(
    "{celsius} °C is colder than the {least} °C that milk kept over may have ({source}). Say why, "
    "or correct the temperature."
)
KEEP_CREAM = """
    UPDATE milk_tray AS t SET cream_kg = s.cream
    FROM (
        SELECT o.id, sum(k.cream_kg) AS cream
        FROM milk_tray AS o
        LEFT JOIN milk_skimming AS k ON k.tray_id = o.id AND k.struck_at IS NULL
        WHERE o.struck_at IS NULL AND (%(all)s OR o.id = ANY(%(trays)s::int4[]))
        GROUP BY o.id
    ) AS s
    WHERE t.id = s.id AND t.cream_kg IS DISTINCT FROM s.cream
"""


@transaction.atomic
def record_skimming(
    *, stamp: Stamp, tray: Tray, cream_kg: Decimal | None = None, **fields: Any
) -> Skimming:
    """Write a look at a tray. Raises ValidationError by field."""
    check_stands(tray, "tray")
    check_weight(cream_kg, field="cream_kg")
    if cream_kg is None and not any(is_said(value) for value in fields.values()):
        raise ValidationError(_(NOTHING_SEEN))
    tray = Tray.objects.select_for_update().get(pk=tray.pk)
    if stamp.happened_at < tray.happened_at:
        words = _(TRAY_NOT_YET).format(
            tray=capfirst(str(tray)), filled=local(tray.happened_at), at=local(stamp.happened_at)
        )
        raise ValidationError({"happened_at": words})
    cream = (tray.cream_kg or Decimal(0)) + (cream_kg or Decimal(0))
    if cream_kg is not None and cream >= tray.kg:
        words = _(TOO_MUCH_CREAM).format(cream=weight(cream_kg), tray=tray, kg=weight(tray.kg))
        raise ValidationError({"cream_kg": words})
    look: Skimming = entries.record(Skimming, stamp=stamp, tray=tray, cream_kg=cream_kg, **fields)
    keep_cream([tray.pk])
    return look


def is_said(value: Any) -> bool:
    """Whether a field says something; nought does."""
    return value is not None and value is not False and value != ""


@transaction.atomic
def strike_skimming(look: Skimming, *, by: User, reason: str, words: str = "") -> Skimming:
    """Strike a look at a tray; its cream is back in it."""
    struck = entries.strike(look, by=by, reason=reason, words=words)
    keep_cream([struck.tray_id])
    return struck


def keep_cream(trays: Collection[int] | None = None) -> int:
    """Keep the cream of the skimmings beside these trays (keys), or all; how many changed."""
    with connection.cursor() as cursor:
        cursor.execute(KEEP_CREAM, {"all": trays is None, "trays": sorted(trays or ())})
        return int(cursor.rowcount)


def cream_again(
    tray: Tray, cream_kg: Decimal | None, *, stamp: Stamp, reason: str, words: str
) -> None:
    """Let a tray's cream be this: what was skimmed otherwise is struck and written again."""
    if cream_kg == tray.cream_kg:
        return
    for look in Skimming.objects.standing().filter(tray=tray, cream_kg__isnull=False):
        entries.strike(look, by=stamp.by, reason=reason, words=words)
    if cream_kg is not None:
        entries.record(Skimming, stamp=stamp.again(), tray=tray, cream_kg=cream_kg)
    keep_cream([tray.pk])


@transaction.atomic
def strike_tray(tray: Tray, *, by: User, reason: str, words: str = "") -> Tray:
    """Strike a tray and what was skimmed off it. Raises Conflict when a vat has its milk."""
    for look in Skimming.objects.standing().filter(tray=tray):
        entries.strike(look, by=by, reason=reason, words=words)
    return strike_milk(tray, by=by, reason=reason, words=words)


def last_looks(trays: Collection[int]) -> dict[int, Skimming]:
    """By tray (key), the latest standing look at it; one statement."""
    looks = Skimming.objects.standing().filter(tray_id__in=sorted(trays)).select_related("by")
    return {look.tray_id: look for look in looks.order_by("happened_at", "id")}


def check_not_aside(tray: Tray, stamp: Stamp) -> None:
    """Refuse to pour a tray that was set aside at the moment of pouring. Raises Conflict."""
    looks = Skimming.objects.standing().filter(tray=tray, happened_at__lte=stamp.happened_at)
    last = looks.select_related("by").order_by("-happened_at", "-id").first()
    if last is not None and last.set_aside:
        raise Conflict(
            _(SET_ASIDE).format(
                tray=capfirst(str(tray)),
                at=local(last.happened_at),
                by=last.by,
                why=why_aside(last),
            )
        )


def why_aside(look: Skimming) -> str:
    """Why a tray was set aside, in words."""
    smell = (
        _("smells {smell}").format(smell=look.smell)
        if look.smell not in ("", Skimming.Smell.CLEAN)
        else ""
    )
    return ", ".join(filter(None, (smell, look.remark)))


@transaction.atomic
def record_kept_over(
    *,
    stamp: Stamp,
    tank: Tank,
    kg: Decimal,
    temperature: Decimal | None = None,
    why: str = "",
    **fields: Any,
) -> KeptOver:
    """Write down morning milk kept over in a tank for the trays of the evening.

    Raises ValidationError by field: more or colder than the rows allow needs ``why``. Raises
    Conflict when the milk is held.
    """
    check_stands(tank, "tank")
    check_weight(kg)
    check_in_tank(tank, kg, stamp)
    if not why.strip():
        check_kept_rules(kg, temperature, stamp)
    kept: KeptOver = entries.record(
        KeptOver, stamp=stamp, tank=tank, kg=kg, temperature=temperature, why=why, **fields
    )
    return kept


def check_in_tank(tank: Tank, kg: Decimal, stamp: Stamp) -> None:
    """Refuse more than the tank holds by the book, and milk that is held."""
    content = next((one for one in in_tanks(stamp.happened_at) if one.tank.pk == tank.pk), None)
    left = content.left if content else Decimal(0)
    if content is None or content.lot is None or kg > left:
        words = _(KEPT_LEFT).format(
            tank=tank, left=weight(max(left, Decimal(0)).quantize(Decimal("0.1"))), kg=weight(kg)
        )
        raise ValidationError({"kg": words})
    check_may_pour(lots=[content.lot], at=stamp.happened_at)


def check_kept_rules(kg: Decimal, temperature: Decimal | None, stamp: Stamp) -> None:
    """Refuse more, or colder, than the dated rows say; what no row says is not judged."""
    day = local_day(stamp.happened_at)
    figures = figures_on(day)
    what = MilkFigure.What
    most, one_wheel = figures.get(what.KEPT_MOST), figures.get(what.KEPT_KG)
    morning = morning_kg(stamp)
    kept = kg + kept_today(stamp)
    more_than_a_wheel = one_wheel is None or kept > one_wheel.value
    if most is not None and kept * 100 > most.value * morning > 0 and more_than_a_wheel:
        words = _(KEPT_TOO_MUCH).format(
            kg=weight(kept),
            share=plain((kept / morning * 100).quantize(Decimal("0.1"))),
            morning=weight(morning),
            most=plain(most.value),
            source=most.source,
        )
        raise ValidationError({"kg": words})
    least = figures.get(what.KEPT_WARM)
    if least is not None and temperature is not None and temperature < least.value:
        words = _(KEPT_TOO_COLD).format(
            celsius=plain(temperature), least=plain(least.value), source=least.source
        )
        raise ValidationError({"temperature": words})


def morning_kg(stamp: Stamp) -> Decimal:
    """kg milked to the dairy on the morning of this day."""
    milked = Milking.objects.standing().filter(
        day=local_day(stamp.happened_at), session="M", tank__use=Tank.Use.RECEIVING
    )
    return milked.aggregate(kg=Sum("kg"))["kg"] or Decimal(0)


def kept_today(stamp: Stamp) -> Decimal:
    """kg kept over already in the half day before."""
    lately = KeptOver.objects.standing().filter(
        happened_at__gt=stamp.happened_at - timedelta(hours=12), happened_at__lte=stamp.happened_at
    )
    return lately.aggregate(kg=Sum("kg"))["kg"] or Decimal(0)
