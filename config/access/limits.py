"""How often somebody may guess: counted in the database, for all web processes together.

A try is counted before it is looked at, so that many at the same moment are no way around; a right
one takes the count back. Never inside a transaction that a wrong answer undoes.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.access.models import Guesses
from config.errors import Refused

QUARTER = timedelta(minutes=15)
WAIT = N_("Too many tries. Wait {minutes} minutes, or ask the office.")


@dataclass(frozen=True)
class Rule:
    """So many tries within a time; then none for a time. All house rules."""

    what: str
    most: int
    within: timedelta = QUARTER
    closed: timedelta = QUARTER


# Wrong passwords of one name from one address are counted by axes (settings); this is for one
# address that tries many names. A right one does not start it anew: it may be the guesser's own.
SIGN_INS = Rule("sign-ins", 60)
# A password that is asked again of somebody signed in.
PASSWORD = Rule("password", 8)
# Six figures, three of them right at any moment: 1 in 40,000 to guess one in a quarter of an hour.
CODE = Rule("code", 8)
PIN = Rule("pin", 5)
# The same PIN over weeks: then it is spent, and its owner chooses another.
PIN_AT_ALL = Rule("pin at all", 15, timedelta(days=30), timedelta(days=30))
# Right ones count too: people take turns.
PHONE = Rule("phone", 40)
LINK = Rule("link", 10)
TOKEN = Rule("token", 30)
RULES = (SIGN_INS, PASSWORD, CODE, PIN, PIN_AT_ALL, PHONE, LINK, TOKEN)

COUNT = """
    INSERT INTO config_guesses AS g (what, key, tries, since) VALUES (%(what)s, %(key)s, 1, %(at)s)
    ON CONFLICT (what, key) DO UPDATE SET
        tries = CASE
            WHEN g.closed_until > %(at)s THEN g.tries
            WHEN g.closed_until IS NOT NULL OR g.since < %(old)s THEN 1
            ELSE g.tries + 1 END,
        since = CASE
            WHEN g.closed_until > %(at)s THEN g.since
            WHEN g.closed_until IS NOT NULL OR g.since < %(old)s THEN %(at)s
            ELSE g.since END,
        closed_until = CASE
            WHEN g.closed_until > %(at)s THEN g.closed_until
            WHEN g.closed_until IS NULL AND g.since >= %(old)s AND g.tries >= %(most)s
                THEN %(closed)s
            ELSE NULL END
    RETURNING closed_until
"""


class TooOften(Refused):
    """Too many tries; ``until`` when the next one is looked at."""

    status = 429

    def __init__(self, at: datetime, until: datetime) -> None:
        self.seconds = max(1, int((until - at).total_seconds()))
        self.headers = {"Retry-After": str(self.seconds)}
        super().__init__(_(WAIT).format(minutes=-(-self.seconds // 60)))


def count_try(rule: Rule, key: object, at: datetime) -> None:
    """Count a try before it is looked at. Raises TooOften when there were too many."""
    told: dict[str, str | int | datetime] = {
        "what": rule.what,
        "key": str(key)[:64],
        "at": at,
        "old": at - rule.within,
        "most": rule.most,
        "closed": at + rule.closed,
    }
    with connection.cursor() as cursor:
        cursor.execute(COUNT, told)
        (until,) = cursor.fetchone()
    if until is not None:
        raise TooOften(at, until)


def was_right(rule: Rule, key: object) -> None:
    """Take the count back: the try was right."""
    Guesses.objects.filter(what=rule.what, key=str(key)[:64]).delete()


def forget_old(at: datetime) -> int:
    """Delete counts that say nothing any more; the number deleted."""
    gone = 0
    for rule in RULES:
        old = Guesses.objects.filter(what=rule.what, since__lt=at - rule.within - rule.closed)
        gone += old.delete()[0]
    return gone
