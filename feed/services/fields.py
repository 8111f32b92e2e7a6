"""Fields: work done on them, and whether they may be cut."""

from datetime import date, datetime
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import day_words, local_day
from config.entries import Stamp
from config.jobs import ask
from config.roles import VET, roles_of
from feed.models import Field, FieldWork, WaitRule
from feed.services.deadlines import FLAG_TASK
from feed.stands import Stand, nearest_first, stands
from feed.window import free_on

NAMED_INSTEAD = 3

NO_DAYS = N_(
    "Write the days to wait from the label: no rule of the estate says how long a field waits "
    "after “{what}”."
)
NOT_FREE = N_(
    "{field} is not free to cut before {free}: {why}. {instead} Only the vet may cut it earlier, "
    "with a reason that stays on the load."
)
FREE_INSTEAD = N_("Free that day, {order} first: {fields}.")
NONE_FREE = N_("No field is free that day; the next ones: {fields}.")
NO_FIELDS = N_("No other field is in the book.")
ONLY_VET = N_("Only the vet may have a field cut before it is free. {field} is free on {free}.")
FREE_ANYWAY = N_("{field} was free on {day}; no reason for cutting it early is needed.")


@transaction.atomic
def record_work(
    *, stamp: Stamp, what: str, waiting_days: int | None = None, **fields: Any
) -> FieldWork:
    """Write work done on a field; loads cut in its waiting days are looked at again.

    Without days of a label those of the estate's rule for such work hold. Raises ValidationError
    by field, also when there is neither.
    """
    on = local_day(stamp.happened_at)
    days = rule_days(what, on) if waiting_days is None else waiting_days
    work = entries.record(
        FieldWork,
        stamp=stamp,
        what=what,
        waiting_days=days,
        from_label=waiting_days is not None,
        free_on=free_on(on, max(days, 0)),
        **fields,
    )
    ask(FLAG_TASK)
    return work


def rule_days(what: str, on: date) -> int:
    """The days the estate's rule makes a field wait after such work. Raises ValidationError."""
    rules = WaitRule.objects.standing().filter(what=what, valid_from__lte=on)
    rule = rules.order_by("-valid_from").first()
    if rule is None:
        raise ValidationError({"waiting_days": _(NO_DAYS).format(what=what)})
    days: int = rule.waiting_days
    return days


@transaction.atomic
def strike_work(work: FieldWork, **why: Any) -> FieldWork:
    """Strike work on a field; it makes nobody wait any more."""
    struck = entries.strike(work, **why)
    ask(FLAG_TASK)
    return struck


def check_may_cut(field: Field, at: datetime, early_reason: str, by: User) -> None:
    """Refuse a cut in the waiting days of a field, unless the vet gives a reason.

    Raises ValidationError at ``field`` or ``early_reason``, naming the day it is free and others
    that are.
    """
    on = local_day(at)
    free = Field.objects.with_free_on(at, on).get(pk=field.pk).free_on
    if free is None and early_reason:
        words = _(FREE_ANYWAY).format(field=field, day=day_words(on))
        raise ValidationError({"early_reason": words})
    if free is not None and not early_reason:
        words = _(NOT_FREE).format(
            field=field,
            free=day_words(free),
            why=waits(field, at, on),
            instead=instead(field, at, on),
        )
        raise ValidationError({"field": words})
    if free is not None and VET not in roles_of(by):
        raise ValidationError(
            {"early_reason": _(ONLY_VET).format(field=field, free=day_words(free))}
        )


def waits(field: Field, at: datetime, on: date) -> str:
    """The works a field has to wait for, in words, the longest wait last."""
    works = field.works.happened_by(at).filter(free_on__gt=on).order_by("free_on", "pk")
    return " and ".join(
        _("{what} on {happened_at}, {waiting_days} days to wait").format(
            what=work.get_what_display(),
            happened_at=day_words(local_day(work.happened_at)),
            waiting_days=work.waiting_days,
        )
        for work in works
    )


def instead(field: Field, at: datetime, on: date) -> str:
    """A sentence with the fields to cut instead: free ones, or those that are free next."""
    return instead_of(field, stands(at, on))


def instead_of(field: Field, every: list[Stand]) -> str:
    """The same sentence from stands that are read already; waiting ones come last in them."""
    free = nearest_first((stand for stand in every if stand.is_free), field)
    if free:
        near = free[0].km_from(field) is not None
        named = ", ".join(in_words(stand, field) for stand in free[:NAMED_INSTEAD])
        return _(FREE_INSTEAD).format(
            order=_("nearest") if near else _("longest uncut"), fields=named
        )
    named = ", ".join(
        _("{field} on {free_on}").format(field=stand.field.name, free_on=day_words(stand.free_on))
        for stand in sorted(every, key=lambda stand: stand.free_on or date.min)[:NAMED_INSTEAD]
        if stand.free_on is not None
    )
    return _(NONE_FREE).format(fields=named) if named else _(NO_FIELDS)


def in_words(stand: Stand, to: Field) -> str:
    """A field to cut instead: its size, what stands there, how far it is."""
    said = [f"{stand.field.hectares.normalize():f} ha"]
    if stand.standing_kg is not None:
        said.append(_("about {standing_kg} t").format(standing_kg=round(stand.standing_kg / 1000)))
    km = stand.km_from(to)
    if km is not None:
        said.append(f"{km:.1f} km")
    return f"{stand.field.name} ({', '.join(said)})"
