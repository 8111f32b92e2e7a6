"""The feed's step of the first day: the fields and what was spread on them."""

from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.first_day import Held, Step, brings_rules, new, step
from feed.models import Field, FieldWork
from feed.reference import load_reference

FIELDS = 50


def fields(at: datetime) -> Held:
    """Whether fields are in the book, and what was done on them."""
    count = Field.objects.standing().count()
    works = FieldWork.objects.standing().count()
    says = _("{count} fields; {works} works on them written.")
    return Held(bool(count), says.format(count=count, works=works))


brings_rules(load_reference)
step(
    FIELDS,
    Step(
        name=_l("Fields and what was spread"),
        why=_l("A field with waiting days must not be cut; the book can only say so if it knows."),
        read=fields,
        address=lambda: new("fields"),
        act=_l("Write a field"),
        action="write:fields",
        needed=False,
    ),
)
