"""What may be asked of the medicine book and of papers by days: the days, and usual ones."""

from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local
from herd.book_entries import Asked
from herd.models import Animal, Group

# Without days: of one animal all that must be kept, of the herd or a group the last three months.
DAYS_OF_HERD, DAYS_OF_ANIMAL = 90, 5 * 366
LONGEST_OF_HERD, LONGEST_OF_ANIMAL = 5 * 366 + 1, 25 * 366

BACKWARDS = N_(
    "The last day ({until}) lies before the first ({since}). Expected the same day or later."
)
TOO_LONG = N_(
    "From {since} to {until} are {days} days; a book of {whom} goes over {most} at most. Ask for "
    "fewer days, or for one animal."
)
NOT_YET = N_("{day} has not come yet. Expected today, {today}, or a day before.")
KNOWN_AHEAD = N_("{at} has not come yet. What is known at a moment can be asked of the past only.")
ONE_OF = N_("A book is of one animal or of one group, not of both. Leave one of them blank.")


def asked_for(
    *,
    since: date | None = None,
    until: date | None = None,
    animal: Animal | None = None,
    group: Group | None = None,
    known_at: datetime | None = None,
) -> Asked:
    """What is asked for, blanks filled in. Raises ValidationError by field."""
    today = timezone.localdate()
    if animal and group:
        raise ValidationError({"group": _(ONE_OF)})
    until = until or today
    since = since or until - timedelta(days=DAYS_OF_ANIMAL if animal else DAYS_OF_HERD)
    check_days(since, until, today, LONGEST_OF_ANIMAL if animal else LONGEST_OF_HERD, bool(animal))
    if known_at and known_at > timezone.now():
        raise ValidationError({"known_at": _(KNOWN_AHEAD).format(at=local(known_at))})
    return Asked(since, until, animal, group, known_at)


def check_days(since: date, until: date, today: date, most: int, one: bool = False) -> None:
    """Refuse days that are backwards, ahead or too many. Raises ValidationError by field."""
    if until > today:
        raise ValidationError({"until": _(NOT_YET).format(day=until, today=today)})
    if since > today:
        raise ValidationError({"since": _(NOT_YET).format(day=since, today=today)})
    if until < since:
        raise ValidationError({"until": _(BACKWARDS).format(since=since, until=until)})
    days = (until - since).days + 1
    if days > most:
        whom = _("one animal") if one else _("the herd or a group")
        words = _(TOO_LONG).format(since=since, until=until, days=days, whom=whom, most=most)
        raise ValidationError({"since": words})
