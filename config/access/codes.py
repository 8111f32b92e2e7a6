"""One-time codes of an app (TOTP, RFC 6238), the codes for the day it is lost, and who needs them.

The secret of an app is kept nowhere: it follows from a salt in the book and the key of the
installation, so that neither a backup nor an export can make a code. With another key the app is
set up anew; the recovery codes hold.
"""

import secrets
from base64 import b32encode
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

import pyotp
import segno
from django.conf import settings
from django.contrib.auth.models import User
from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone
from django.utils.crypto import constant_time_compare, salted_hmac

from config.access import events, limits
from config.access.models import OneTimeCode, RecoveryCode
from config.roles import OFFICE, OWNER, VET, roles_of

# Whose sign-in opens medicine, money, people: the second factor is theirs.
NEED_CODES = (VET, OFFICE, OWNER)
ISSUER = "Swardline"
# What every app reads: RFC 6238 with SHA-1, 30 seconds, six figures.
STEP, DIGITS = 30, 6
# RFC 6238, 5.2: at most one step of delay is let through; one ahead for a clock that is fast.
AROUND = (0, -1, 1)
# 160 bits, as RFC 4226 section 4 recommends.
SECRET_BYTES = 20
KEY_OF = "config.access.codes"
# No letters that look alike; somebody types it from paper.
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
RECOVERY_CODES, BLOCKS, BLOCK = 10, 4, 4


def new_salt() -> str:
    """The salt of a new secret."""
    return secrets.token_hex(16)


def secret_of(salt: str) -> str:
    """The secret that belongs to a salt here, in base 32 as apps take it."""
    made = salted_hmac(KEY_OF, salt, algorithm="sha256").digest()[:SECRET_BYTES]
    return b32encode(made).decode()


def code_at(secret: str, at: datetime, *, digits: int = DIGITS, steps: int = 0) -> str:
    """The code of a secret (base 32) at a moment, or so many steps of 30 s from it."""
    made: str = pyotp.TOTP(secret, digits=digits, interval=STEP).at(at, counter_offset=steps)
    return made


def step_of(code: str, secret: str, at: datetime) -> int | None:
    """The step whose code this is, among those around a moment; None when it is none of them."""
    now = int(at.timestamp()) // STEP
    found = None
    for around in AROUND:
        if constant_time_compare(code_at(secret, at, steps=around), code):
            found = now + around
    return found


@dataclass(frozen=True)
class Offer:
    """What somebody is shown to set up an app: the address in the picture, and the secret."""

    address: str
    secret: str

    @property
    def blocks(self) -> str:
        """The secret in blocks of four, for somebody who types it."""
        return " ".join(self.secret[at : at + 4] for at in range(0, len(self.secret), 4))

    @property
    def picture(self) -> str:
        """The QR code as SVG, dark on white whatever the page's colours are."""
        code = segno.make(self.address, error="m", micro=False)
        return code.svg_inline(scale=5, border=4, dark="#000", light="#fff", omitsize=True)


def offer(user: User, salt: str) -> Offer:
    """What to show to somebody who sets up an app with a salt."""
    secret = secret_of(salt)
    address = pyotp.TOTP(secret, digits=DIGITS, interval=STEP).provisioning_uri(
        name=user.get_username(), issuer_name=ISSUER
    )
    return Offer(address, secret)


def has_codes(user: User) -> bool:
    """Whether somebody has set up an app; read with the user where a page was asked for."""
    read: bool | None = getattr(user, "has_codes", None)
    return OneTimeCode.objects.filter(user=user).exists() if read is None else read


def due_at(user: User) -> datetime | None:
    """From when somebody gets no further without an app; None when nobody asks them for one.

    Some days are given from the day the person was made, so that the first day is not a hurdle.
    """
    if not settings.CODES_REQUIRED or not set(roles_of(user)) & set(NEED_CODES):
        return None
    due: datetime = user.date_joined + timedelta(days=settings.CODES_GRACE_DAYS)
    return due


def is_missing(user: User, at: datetime) -> bool:
    """Whether somebody must set up an app before anything else."""
    due = due_at(user)
    return due is not None and at >= due and not has_codes(user)


@transaction.atomic
def set_up(user: User, salt: str, step: int, *, request: HttpRequest) -> list[str]:
    """Keep that somebody's codes come from this salt from now on. Returns new recovery codes."""
    OneTimeCode.objects.update_or_create(
        user=user, defaults={"salt": salt, "last_step": step, "made_at": timezone.now()}
    )
    events.keep(user, events.CODE_ADDED, by=user, request=request)
    return new_recovery_codes(user)


@transaction.atomic
def new_recovery_codes(user: User) -> list[str]:
    """Ten new recovery codes, shown once; the ones before count no more."""
    RecoveryCode.objects.filter(user=user).delete()
    made = [
        "-".join("".join(secrets.choice(LETTERS) for _ in range(BLOCK)) for _ in range(BLOCKS))
        for _ in range(RECOVERY_CODES)
    ]
    RecoveryCode.objects.bulk_create(
        RecoveryCode(user=user, digest=digest_of(user, code)) for code in made
    )
    return made


def digest_of(user: User, code: str) -> str:
    """What is kept of a recovery code: 79 bits and whose it is, which no table of sums holds."""
    plain = "".join(sign for sign in code.lower() if sign in LETTERS)
    return sha256(f"{user.pk}:{plain}".encode()).hexdigest()


def end(user: User, *, by: User | None = None, request: HttpRequest | None = None) -> None:
    """Forget somebody's app and recovery codes."""
    OneTimeCode.objects.filter(user=user).delete()
    RecoveryCode.objects.filter(user=user).delete()
    events.keep(user, events.CODE_ENDED, by=by, request=request)


def is_right(user: User, typed: str, at: datetime, *, request: HttpRequest | None = None) -> bool:
    """Whether this is a code of the user that was not used before; from now on it is.

    Raises TooOften after too many wrong ones.
    """
    limits.count_try(limits.CODE, user.pk, at)
    right = take_code(user, typed, at) or take_recovery(user, typed, at, request=request)
    if right:
        limits.was_right(limits.CODE, user.pk)
    return right


def take_code(user: User, typed: str, at: datetime) -> bool:
    """Use up a code of the app: it and those before it are refused from now on."""
    kept = OneTimeCode.objects.filter(user=user).first()
    code = "".join(typed.split())
    if kept is None or not (code.isascii() and code.isdigit()):
        return False
    step = step_of(code, secret_of(kept.salt), at)
    if step is None:
        return False
    # Of two that come at the same moment one is let in.
    fresh = OneTimeCode.objects.filter(pk=kept.pk, last_step__lt=step)
    return bool(fresh.update(last_step=step))


def take_recovery(user: User, typed: str, at: datetime, *, request: HttpRequest | None) -> bool:
    """Use up a recovery code."""
    unused = RecoveryCode.objects.filter(user=user, digest=digest_of(user, typed), used_at=None)
    if not unused.update(used_at=at):
        return False
    events.keep(user, events.CODE_USED, by=user, request=request)
    return True


def recovery_left(user: User) -> int:
    """How many recovery codes somebody has left."""
    return RecoveryCode.objects.filter(user=user, used_at=None).count()


def renew_recovery(user: User, *, request: HttpRequest) -> list[str]:
    """New recovery codes that somebody asked for."""
    made = new_recovery_codes(user)
    events.keep(user, events.CODES_MADE, by=user, request=request)
    return made
