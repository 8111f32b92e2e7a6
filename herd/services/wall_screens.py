"""A screen's link: made, opened by its secret, withdrawn."""

import secrets
from datetime import datetime, timedelta
from hashlib import sha256

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.errors import Conflict
from herd.models import Group, WallScreen
from herd.withheld import NOT_MILKED

# No letters that look alike; somebody types the link once into the screen.
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
BLOCKS, BLOCK = 5, 5
# The screen asks every 20 seconds; that it was seen is written this often.
SEEN_EVERY = timedelta(minutes=1)

NOT_A_MILKED_GROUP = N_("{group} is not milked; a wall shows who of a milked group is NOT.")
WITHDRAWN_ALREADY = N_("The link of {screen} was withdrawn already, by {who}.")


def new_secret() -> str:
    """A secret of 25 letters in blocks (123 bits), "k7m2p-9xq4r-…"."""
    return "-".join("".join(secrets.choice(LETTERS) for _ in range(BLOCK)) for _ in range(BLOCKS))


def digest_of(secret: str) -> str:
    """What is kept of a secret. It is long and random, so that a plain hash cannot be undone."""
    return sha256(secret.encode()).hexdigest()


def hang_up(*, name: str, group: Group, by: User) -> tuple[WallScreen, str]:
    """A new screen of a group and the secret of its link. Raises ValidationError by field."""
    if group.use in NOT_MILKED:
        raise ValidationError(
            {"group": _(NOT_A_MILKED_GROUP).format(group=str(group).capitalize())}
        )
    secret = new_secret()
    screen = WallScreen(name=name, group=group, made_by=by, digest=digest_of(secret))
    screen.full_clean()
    screen.save(force_insert=True)
    return screen, secret


def take_down(screen: WallScreen, *, by: User, at: datetime) -> None:
    """Withdraw a screen's link for good. Raises Conflict when it was withdrawn before."""
    rows = WallScreen.objects.filter(pk=screen.pk, withdrawn_at=None)
    if not rows.update(withdrawn_at=at, withdrawn_by=by):
        screen.refresh_from_db()
        raise Conflict(_(WITHDRAWN_ALREADY).format(screen=screen, who=screen.withdrawn_by))


def screen_of(secret: str, at: datetime) -> WallScreen | None:
    """The screen whose link has this secret; None when none has, or it was withdrawn."""
    found = (
        WallScreen.objects.filter(digest=digest_of(secret), withdrawn_at=None)
        .select_related("group")
        .first()
    )
    if found is None or found.group.is_struck:
        return None
    unseen = Q(seen_at=None) | Q(seen_at__lt=at - SEEN_EVERY)
    if found.seen_at is None or found.seen_at < at - SEEN_EVERY:
        WallScreen.objects.filter(unseen, pk=found.pk).update(seen_at=at)
    return found
