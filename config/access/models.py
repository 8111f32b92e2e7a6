"""What is kept about signing in. No secret is kept, only digests of them."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.contrib.sessions.base_session import AbstractBaseSession
from django.contrib.sessions.base_session import BaseSessionManager as SessionManager
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _l
from knox.models import AbstractAuthToken

from config.triggers import keep_rows, never_changed, only_once

WHO = settings.AUTH_USER_MODEL
# A digest of SHA-256 in hexadecimal.
DIGEST = 64


class SharedPhone(models.Model):
    """A phone that several people use, each with a PIN; bound by a link, and withdrawn for good.

    ``link_digest``: of the secret in the link, which opens once; ``key_digest``: of what the phone
    then keeps in its cookie.
    """

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    name = models.CharField(_l("which phone"), max_length=60)
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(WHO, models.PROTECT, related_name="+")
    link_digest = models.CharField(max_length=DIGEST, unique=True)
    link_until = models.DateTimeField()
    key_digest = models.CharField(max_length=DIGEST, unique=True, null=True, blank=True)
    bound_at = models.DateTimeField(null=True, blank=True)
    seen_at = models.DateTimeField(_l("last asked"), null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(WHO, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        verbose_name = _l("shared phone")
        triggers: ClassVar = [
            *keep_rows(),
            only_once(
                "withdrawn_at", "withdrawn_by_id", free=("seen_at", "key_digest", "bound_at")
            ),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(withdrawn_at=None, withdrawn_by=None)
                | models.Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False),
                name="config_sharedphone_withdrawn_by_whom",
            ),
            models.CheckConstraint(
                condition=models.Q(bound_at=None, key_digest=None)
                | models.Q(bound_at__isnull=False, key_digest__isnull=False),
                name="config_sharedphone_bound_with_key",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Session(AbstractBaseSession):
    """A browser that is signed in: whose, since when, from where; its end ends the row."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    user = models.ForeignKey(WHO, models.CASCADE, null=True, related_name="+")
    phone = models.ForeignKey(SharedPhone, models.CASCADE, null=True, related_name="+")
    since = models.DateTimeField(default=timezone.now)
    seen_at = models.DateTimeField(default=timezone.now)
    address = models.CharField(max_length=45, blank=True)
    browser = models.CharField(max_length=200, blank=True)

    objects: ClassVar = SessionManager()

    class Meta(AbstractBaseSession.Meta):
        indexes: ClassVar = [
            # One's own list, and the ends of all of them.
            models.Index(fields=["user", "-seen_at"], name="config_session_user"),
            models.Index(fields=["phone"], name="config_session_phone"),
        ]


class AccessEvent(models.Model):
    """What was done about somebody's access: a new password, a code, an ended session."""

    user = models.ForeignKey(WHO, models.PROTECT, related_name="+")
    by = models.ForeignKey(WHO, models.PROTECT, null=True, related_name="+")
    what = models.CharField(max_length=40)
    about = models.CharField(max_length=120, blank=True)
    address = models.CharField(max_length=45, blank=True)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        triggers: ClassVar = [*keep_rows(), never_changed()]
        indexes: ClassVar = [models.Index(fields=["user", "-at"], name="config_accessevent_user")]

    def __str__(self) -> str:
        return f"{self.what} {self.about}".strip()


class Guesses(models.Model):
    """How many wrong tries there were at one thing lately (see access/limits.py)."""

    what = models.CharField(max_length=20)
    key = models.CharField(max_length=64)
    tries = models.PositiveIntegerField()
    since = models.DateTimeField()
    closed_until = models.DateTimeField(null=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["what", "key"], name="config_guesses_one_a_thing")
        ]

    def __str__(self) -> str:
        return f"{self.what} {self.tries}"


class OneTimeCode(models.Model):
    """That somebody's codes come from an app of theirs.

    The secret itself is kept nowhere: it follows from the salt and the key of the installation.
    """

    user = models.OneToOneField(WHO, models.CASCADE, related_name="+")
    salt = models.CharField(max_length=32)
    made_at = models.DateTimeField(default=timezone.now)
    # The step of the last code that was taken: it and all before it are refused.
    last_step = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return str(self.user)


class RecoveryCode(models.Model):
    """A code for the day the app is lost; it opens once."""

    user = models.ForeignKey(WHO, models.CASCADE, related_name="+")
    digest = models.CharField(max_length=DIGEST, unique=True)
    used_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return str(self.user)


class Pin(models.Model):
    """A short number that counts on a shared phone only."""

    user = models.OneToOneField(WHO, models.CASCADE, related_name="+")
    scrambled = models.CharField(max_length=200)
    made_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return str(self.user)


class MachineToken(AbstractAuthToken):  # type: ignore[misc]
    """A token of a program: in whose name, what it may do of what they may, when it was used."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    name = models.CharField(_l("which program"), max_length=60)
    scopes = models.JSONField(default=list)
    seen_at = models.DateTimeField(null=True)
    seen_from = models.CharField(max_length=45, blank=True)

    class Meta:
        verbose_name = _l("token of a program")

    def __str__(self) -> str:
        return self.name
