"""What leaflets say from when on, and the dated rules; the periods they change follow."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from herd import breeding_rules, medicine_rules, rules_in_force, udder
from herd.models import Medicine, MedicineVersion, PeriodRule
from herd.services import touched, withdrawals
from herd.services.kept_out_reads import followed
from herd.withdrawal import BY_SCHEME, RULE_NAMES

# Rules that stand among the dated rows and that the trace computes with, not the periods.
TRACE_RULES = ("feed traced before a milking",)
KNOWN_RULES = (
    *RULE_NAMES,
    *TRACE_RULES,
    *udder.RULE_NAMES.values(),
    *breeding_rules.KNOWN_RULES,
    *rules_in_force.OTHER_RULES,
    *medicine_rules.KNOWN_RULES,
)
NOT_FOLLOWED = N_(
    "The estate does not follow “{scheme}”, so this would count for nobody. Expected one of: "
    "{followed}. Nothing was saved."
)
UNKNOWN_RULE = N_("“{name}” is no rule that is computed with. Expected one of: {names}.")


@transaction.atomic
def record_version(*, stamp: Stamp, medicine: Medicine, **fields: Any) -> MedicineVersion:
    """What a leaflet says from a day on; periods of animals that had the medicine follow."""
    version = entries.record(MedicineVersion, stamp=stamp, medicine=medicine, **fields)
    withdrawals.follow(touched.treated_with(medicine))
    return version


@transaction.atomic
def strike_version(
    version: MedicineVersion, *, by: Any, reason: str, words: str = ""
) -> MedicineVersion:
    """Take a version back; the one before it holds again, or nobody knows."""
    version = entries.strike(version, by=by, reason=reason, words=words)
    withdrawals.follow(touched.treated_with(version.medicine))
    return version


@transaction.atomic
def record_rule(*, stamp: Stamp, name: str, **fields: Any) -> PeriodRule:
    """A dated value of a rule. Raises ValidationError at ``name`` for one nobody computes with."""
    if name not in KNOWN_RULES:
        words = _(UNKNOWN_RULE).format(name=name[:60], names="; ".join(KNOWN_RULES))
        raise ValidationError({"name": words})
    check_followed(name, fields.get("scheme", "EU"))
    rule = entries.record(PeriodRule, stamp=stamp, name=name, **fields)
    if name in RULE_NAMES:
        withdrawals.follow(touched.under_rules_since(rule.valid_from))
    return rule


def check_followed(name: str, scheme: str) -> None:
    """Refuse a rule that each scheme sets for itself under a scheme the estate does not follow."""
    if name in BY_SCHEME and scheme not in followed():
        words = _(NOT_FOLLOWED).format(scheme=scheme, followed=", ".join(sorted(followed())))
        raise ValidationError({"scheme": words})


@transaction.atomic
def strike_rule(rule: PeriodRule, *, by: Any, reason: str, words: str = "") -> PeriodRule:
    """Take a rule's value back; the one before it holds again, or nobody knows."""
    rule = entries.strike(rule, by=by, reason=reason, words=words)
    if rule.name in RULE_NAMES:
        withdrawals.follow(touched.under_rules_since(rule.valid_from))
    return rule
