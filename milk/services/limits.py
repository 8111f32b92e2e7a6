"""Writing down and striking limits: dated, sourced rows, never numbers in code."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from config.jobs import ask
from milk.models import CoolingRule, Limit
from milk.models.limits import What
from milk.results import COUNTS, RANGES, UNITS

NOT_FOR_VERDICTS = N_(
    "An inhibitor test has a verdict; a positive one holds the lot without a limit."
)
OTHER_UNIT = N_("{what} is kept in {expected}. Give the limit in that unit, not in “{unit}”.")
CROSSED = N_("At least {least} and at most {most} cannot both be kept.")
ONLY_COUNTS = N_("A geometric mean is for counts ({counts}); {what} has limits for single results.")
OUT_OF_RANGE = N_(
    "{value} {unit} is no limit of {what}: results lie between {least} and {most}. Look at the "
    "unit of the text."
)
NO_MONTHS = N_("Over {months} months no scheme looks back. Expected 1 to {most}.")
MOST_MONTHS = 60
MEAN_NEEDS_MOST = N_("A rolling mean needs the most it may be, above 0.")
NOT_OF_IT = N_("“{label}” goes with a limit for {of} only; leave it blank.")
FLAG_TASK = "milk.tasks.flag_lots_over_limits"
# What is counted where a scheme asks how often milk is sampled.
SAMPLES = "samples"
SOURCE_MISSING = N_(
    "Say where the limit stands: the law and clause, the contract, or “own rule” and whose."
)


@transaction.atomic
def record_limit(*, stamp: Stamp, what: str, of: str, unit: str = "", **fields: Any) -> Limit:
    """Write down a limit valid from a day on. Raises ValidationError by field.

    ``unit`` must be the one results of that kind are kept in; blank takes it.
    """
    unit = checked_unit(what, unit, of)
    check_bounds(of, what, fields.get("at_most"), fields.get("at_least"))
    check_range(of, what, {name: fields.get(name) for name in ("at_most", "at_least")})
    check_months(fields.get("months"))
    check_only_for(of, fields)
    if not str(fields.get("source", "")).strip():
        raise ValidationError({"source": _(SOURCE_MISSING)})
    limit: Limit = entries.record(Limit, stamp=stamp, what=what, of=of, unit=unit, **fields)
    judge_again(limit.valid_from)
    return limit


@transaction.atomic
def strike_limit(limit: Limit, *, by: User, reason: str, words: str = "", **options: Any) -> Limit:
    """Strike a limit; what was judged by it is judged again by the one before it."""
    struck = entries.strike(limit, by=by, reason=reason, words=words, **options)
    judge_again(struck.valid_from)
    return struck


def judge_again(since: date | None = None) -> None:
    """Have every result since that day judged again; without a day, all."""
    ask(FLAG_TASK, *([since.isoformat()] if since else []))


@transaction.atomic
def record_cooling_rule(*, stamp: Stamp, scheme: str, source: str, **fields: Any) -> CoolingRule:
    """Write down how warm or old milk may be from a day on. Raises ValidationError by field."""
    if not source.strip():
        raise ValidationError({"source": _(SOURCE_MISSING)})
    rule: CoolingRule = entries.record(
        CoolingRule, stamp=stamp, scheme=scheme, source=source, **fields
    )
    judge_again()
    return rule


@transaction.atomic
def strike_cooling_rule(
    rule: CoolingRule, *, by: User, reason: str, words: str = "", **options: Any
) -> CoolingRule:
    """Strike a cooling rule; the one before it counts again."""
    struck = entries.strike(rule, by=by, reason=reason, words=words, **options)
    judge_again()
    return struck


def checked_unit(what: str, unit: str, of: str = Limit.Of.SINGLE) -> str:
    """The unit of a limit. Raises ValidationError for another one, or for what has none."""
    if of == Limit.Of.OFTEN and what in What.values:
        return SAMPLES
    if what == What.INHIBITOR:
        raise ValidationError({"what": _(NOT_FOR_VERDICTS)})
    if what not in What.values:
        raise ValidationError({"what": _("“{what}” is not measured here.").format(what=what)})
    expected = UNITS[what]
    if unit.strip() not in ("", expected):
        words = _(OTHER_UNIT).format(what=What(what).label, expected=expected, unit=unit.strip())
        raise ValidationError({"unit": words})
    return expected


def check_bounds(of: str, what: str, at_most: Decimal | None, at_least: Decimal | None) -> None:
    """Refuse bounds that cross, and a mean of what is no count."""
    if at_most is not None and at_least is not None and at_least > at_most:
        raise ValidationError({"at_least": _(CROSSED).format(least=at_least, most=at_most)})
    if of != Limit.Of.MEAN:
        return
    if what not in COUNTS:
        counts = ", ".join(sorted(What(count).label.partition(",")[0] for count in COUNTS))
        raise ValidationError({"of": _(ONLY_COUNTS).format(counts=counts, what=What(what).label)})
    if at_most is None or at_most <= 0:
        raise ValidationError({"at_most": _(MEAN_NEEDS_MOST)})


def check_range(of: str, what: str, bounds: dict[str, Decimal | None]) -> None:
    """Refuse a limit that no result could keep, or none could break: a unit or a digit is wrong."""
    if of == Limit.Of.OFTEN:
        return
    least, most = RANGES[what]
    for name, value in bounds.items():
        if value is not None and not Decimal(least) <= value <= Decimal(most):
            words = _(OUT_OF_RANGE).format(
                value=value, unit=UNITS[what], what=What(what).label.partition(",")[0],
                least=least, most=most,
            )  # fmt: skip
            raise ValidationError({name: words})


def check_months(months: int | None) -> None:
    """Refuse to look back further than any scheme does."""
    if months is not None and not 1 <= months <= MOST_MONTHS:
        raise ValidationError({"months": _(NO_MONTHS).format(months=months, most=MOST_MONTHS)})


# Columns that one kind of limit has and no other; a value elsewhere is a slip.
ONLY_FOR = {
    "gap_days": Limit.Of.MEAN,
    "mend_months": Limit.Of.MEAN,
    "resample_after_days": Limit.Of.LAST,
    "resample_within_days": Limit.Of.LAST,
}


def check_only_for(of: str, fields: dict[str, Any]) -> None:
    """Refuse what goes with another kind of limit. Raises ValidationError by field."""
    for name, only in ONLY_FOR.items():
        if fields.get(name) and of != only:
            label = Limit._meta.get_field(name).verbose_name  # type: ignore[union-attr]
            raise ValidationError({name: _(NOT_OF_IT).format(label=label, of=only.label)})
