"""The treatments a vet keeps ready, and courses ordered from them with one touch."""

from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from config.errors import Conflict
from herd.models import Animal, Course, TreatmentPlan
from herd.models.treatments import PRESCRIBED
from herd.services.orders import check_order
from herd.services.treatments import record_treatment

PLAN_STRUCK = N_("The plan “{plan}” was struck. Choose another, or order the course by hand.")


@transaction.atomic
def record_plan(*, stamp: Stamp, **fields: Any) -> TreatmentPlan:
    """Keep a plan; it must be one that may be ordered today. Raises ValidationError by field."""
    check_order(timezone.now(), **fields)
    return entries.record(TreatmentPlan, stamp=stamp, **fields)


@transaction.atomic
def correct_plan(
    plan: TreatmentPlan, *, stamp: Stamp, reason: str, words: str = "", **fields: Any
) -> TreatmentPlan:
    """Write a plan again; courses ordered from it stay as they were ordered."""
    check_order(timezone.now(), **fields)
    return entries.correct(plan, stamp=stamp, reason=reason, words=words, **fields)


@transaction.atomic
def order_plan(
    *,
    stamp: Stamp,
    plan: TreatmentPlan,
    animal: Animal,
    first_dose: dict[str, Any] | None = None,
    **changed: Any,
) -> Course:
    """Order a plan for an animal, and write its first dose when it is given.

    ``changed``: fields of the course that differ from the plan. The leaflet and the floors are
    looked at again, for they may have changed. Raises ValidationError by field, Conflict for a
    plan that was struck.
    """
    if plan.is_struck:
        raise Conflict(_(PLAN_STRUCK).format(plan=plan))
    fields = {
        **values_of(plan),
        "plan": plan,
        "prescribed_on": timezone.localdate(min(stamp.happened_at, stamp.written_at)),
        "prescriber": name_of(stamp.by),
        **changed,
    }
    return record_treatment(stamp=stamp, first_dose=first_dose, animal=animal, **fields)


def values_of(plan: TreatmentPlan) -> dict[str, Any]:
    """What a plan says of a course, by field."""
    return {name: getattr(plan, name) for name in PRESCRIBED}


def name_of(user: Any) -> str:
    """The name of who prescribes."""
    name = user.get_full_name() if isinstance(user, User) else ""
    return name or user.get_username()
