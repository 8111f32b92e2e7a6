"""Findings of others in our milk and cheese: written, worked through, closed."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local_day
from config.entries import Stamp
from config.errors import Conflict
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER, OWNER, VET
from milk.models import OutsideFinding, OutsideStep
from milk.recalls_roots import find_root
from milk.services.flowing import check_stands

RINGS = (VET, CHEESEMAKER, OWNER)
AT_ONCE = N_(
    "Food that may harm and has left the estate is told to the authority and called back at once. "
    "Begin the recall from the file, or write there why none is needed."
)
SAMPLED_LATER = N_(
    "It was told before {day}; expected the day of their sample, on that day at most."
)
CLOSED = N_(
    "This file was closed. Nothing was saved. Strike the step that closed it if it goes on."
)
NO_CAUSE = N_(
    "A file is closed with its cause and with what is changed; missing: {missing}. Nothing was "
    "saved. “Not found out” is a cause too, with where was looked."
)


@transaction.atomic
def record_outside_finding(
    *, stamp: Stamp, about_kind: str, about: str, **fields: Any
) -> OutsideFinding:
    """Write down what somebody outside found, and ring. Raises ValidationError by field."""
    root = found_in(about_kind, about)
    sampled = fields.get("sampled_on")
    if sampled is not None and sampled > local_day(stamp.happened_at):
        raise ValidationError({"sampled_on": _(SAMPLED_LATER).format(day=sampled)})
    made: OutsideFinding = entries.record(
        OutsideFinding,
        stamp=stamp,
        about_kind=about_kind,
        about=root.text,
        about_name=root.name[:120],
        **fields,
    )
    ring(made)
    return made


def found_in(kind: str, about: str) -> Any:
    """What it was found in. Raises ValidationError at the finding's own fields."""
    try:
        return find_root(kind, about)
    except ValidationError as refused:
        names = {"root_kind": "about_kind", "root": "about"}
        told = {names.get(name, name): said for name, said in refused.message_dict.items()}
        raise ValidationError(told) from refused


@in_estate_language()
def ring(finding: OutsideFinding) -> None:
    """Tell those who decide, until the file is closed."""
    for role in RINGS:
        raise_notice(
            cause=cause_of(finding),
            role=role,
            what=_("Found outside: {finding}. Told by {who}.").format(
                finding=finding, who=finding.who
            ),
            where=finding.about_name,
            otherwise=_(AT_ONCE),
            url=finding.get_absolute_url(),
        )


def cause_of(finding: OutsideFinding) -> str:
    return f"outside:{finding.uuid}"


def is_closed(finding: OutsideFinding) -> bool:
    steps = OutsideStep.objects.standing().filter(finding=finding)
    return steps.filter(what=OutsideStep.What.CLOSED).exists()


@transaction.atomic
def record_outside_step(
    *, stamp: Stamp, finding: OutsideFinding, what: str, **fields: Any
) -> OutsideStep:
    """Write one step of a file. Raises Conflict for a closed one, and to close one unexplained.

    A file is closed only when its cause and what is changed are written.
    """
    finding = OutsideFinding.objects.select_for_update(of=("self",)).get(pk=finding.pk)
    check_stands(finding, "finding")
    if is_closed(finding):
        raise Conflict(_(CLOSED))
    if what == OutsideStep.What.CLOSED:
        check_explained(finding)
    made: OutsideStep = entries.record(
        OutsideStep, stamp=stamp, finding=finding, what=what, **fields
    )
    if what == OutsideStep.What.CLOSED:
        close_gone(cause_of(finding), still=())
    return made


def check_explained(finding: OutsideFinding) -> None:
    """Refuse to close a file whose cause or cure nobody wrote."""
    needed = (OutsideStep.What.CAUSE, OutsideStep.What.CURE)
    steps = OutsideStep.objects.standing().filter(finding=finding, what__in=needed)
    done = set(steps.values_list("what", flat=True))
    missing = [str(one.label) for one in needed if one not in done]
    if missing:
        raise Conflict(_(NO_CAUSE).format(missing=_(" and ").join(missing)))


@transaction.atomic
def strike_outside_finding(finding: OutsideFinding, **why: Any) -> OutsideFinding:
    """Strike a finding that has no steps, and close its notices."""
    struck: OutsideFinding = entries.strike(finding, **why)
    close_gone(cause_of(finding), still=())
    return struck


@transaction.atomic
def strike_outside_step(step: OutsideStep, **why: Any) -> OutsideStep:
    """Strike a step; when it had closed the file, everybody is rung again."""
    struck: OutsideStep = entries.strike(step, **why)
    if step.what == OutsideStep.What.CLOSED:
        ring(step.finding)
    return struck
