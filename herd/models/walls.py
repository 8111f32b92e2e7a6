"""Large screens in the parlour: a link for each, which can be withdrawn and opens nothing else."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _l

from config.triggers import keep_rows, only_once
from herd.models.groups import Group


class WallScreen(models.Model):
    """A screen that shows one group's list without anybody signed in.

    ``digest``: of the secret in its link, which is shown once and kept nowhere. A withdrawn one
    stays in the book, so that it can be told later which screen could be read when.
    """

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    name = models.CharField(_l("where it hangs"), max_length=60)
    group = models.ForeignKey(Group, models.PROTECT, related_name="+")
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    seen_at = models.DateTimeField(_l("last asked"), null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        verbose_name = _l("wall screen")
        triggers: ClassVar = [
            *keep_rows(),
            only_once("withdrawn_at", "withdrawn_by_id", free=("seen_at",)),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(withdrawn_at=None, withdrawn_by=None)
                | models.Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False),
                name="herd_wallscreen_withdrawn_by_whom",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.group}"
