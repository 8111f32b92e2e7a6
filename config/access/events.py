"""What was done about somebody's access, in words; kept for good and shown to them."""

from django.contrib.auth.models import AnonymousUser, User
from django.http import HttpRequest
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.access.models import AccessEvent
from config.client_address import address_of

PASSWORD_CHANGED = "password"
CODE_ADDED, CODE_ENDED, CODES_MADE, CODE_USED = "code", "code ended", "recovery", "recovery used"
PIN_SET, PIN_ENDED, PIN_SPENT = "pin", "pin ended", "pin spent"
SESSION_ENDED, SESSIONS_ENDED = "session ended", "sessions ended"
TOKEN_MADE, TOKEN_ENDED = "token", "token ended"
SWITCHED_OFF, SWITCHED_ON = "off", "on"
WORDS = {
    PASSWORD_CHANGED: N_("password changed"),
    CODE_ADDED: N_("one-time codes set up"),
    CODE_ENDED: N_("one-time codes ended"),
    CODES_MADE: N_("new recovery codes made"),
    CODE_USED: N_("signed in with a recovery code"),
    PIN_SET: N_("PIN chosen"),
    PIN_ENDED: N_("PIN ended"),
    PIN_SPENT: N_("PIN ended after too many wrong tries"),
    SESSION_ENDED: N_("signed out of"),
    SESSIONS_ENDED: N_("signed out everywhere else"),
    TOKEN_MADE: N_("token made for"),
    TOKEN_ENDED: N_("token ended of"),
    SWITCHED_OFF: N_("can sign in no more"),
    SWITCHED_ON: N_("may sign in again"),
}


def keep(
    user: User,
    what: str,
    about: str = "",
    *,
    by: User | AnonymousUser | None = None,
    request: HttpRequest | None = None,
) -> AccessEvent:
    """Keep what was done about a user's access, by whom and from where."""
    address = (request and address_of(request)) or ""
    doer = by if isinstance(by, User) else None
    return AccessEvent.objects.create(
        user=user, by=doer, what=what, about=about[:120], address=address
    )


def said(event: AccessEvent) -> str:
    """An event in the reader's words."""
    return f"{_(WORDS.get(event.what, event.what))} {event.about}".strip()


def latest(user: User, number: int = 20) -> list[tuple[AccessEvent, str]]:
    """A user's latest events with their words, the newest first."""
    rows = AccessEvent.objects.filter(user=user).select_related("by").order_by("-at", "-pk")
    return [(event, said(event)) for event in rows[:number]]
