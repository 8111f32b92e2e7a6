"""Passwords: which are refused, how one is asked again, and how one is changed."""

from django.conf import settings
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.access import events, limits
from config.access.sessions import end_others

# What somebody would try first who knows where this is.
OF_THIS_PLACE = ("swardline", "larkfold", "milk", "cheese", "parlour", "password", "passwort")
OF_THIS_PLACE_REFUSED = N_(
    "Most of this password is “{word}”, which somebody who knows this place would try first. "
    "Expected words that do not belong together."
)
WRONG = N_("This is not your password.")


class NotOfThisPlace:
    """A rule for new passwords: not half of it may be a word of the place or of its work."""

    def validate(self, password: str, user: User | None = None) -> None:
        """Raise ValidationError for a password that is mostly one such word."""
        words = {*OF_THIS_PLACE, *(role for role in settings.SESSION_DAYS)}
        for word in words:
            if len(word) * password.casefold().count(word) * 2 > len(password):
                raise ValidationError(_(OF_THIS_PLACE_REFUSED).format(word=word))

    def get_help_text(self) -> str:
        return _("Not mostly a word of this place or its work.")


def check_again(user: User, password: str, field: str = "password") -> None:
    """Ask somebody signed in for their password again.

    Raises ValidationError at ``field`` when it is wrong, TooOften after too many.
    """
    limits.count_try(limits.PASSWORD, user.pk, timezone.now())
    if not user.check_password(password):
        raise ValidationError({field: _(WRONG)})
    limits.was_right(limits.PASSWORD, user.pk)


def change(user: User, password: str, *, request: HttpRequest) -> int:
    """Give a user another password; their other sessions end. The number ended."""
    user.set_password(password)
    user.save(update_fields=["password"])
    update_session_auth_hash(request, user)
    events.keep(user, events.PASSWORD_CHANGED, by=user, request=request)
    return end_others(user, request)
