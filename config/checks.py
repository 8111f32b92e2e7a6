"""System checks of the frame: what was forgotten when an app added a kind of entry."""

from collections.abc import Sequence
from typing import Any

from django.apps.config import AppConfig
from django.core.checks import CheckMessage, Error, register

from config.kinds import all_kinds
from config.roles import ACTIONS


@register()
def every_kind_has_writers(
    app_configs: Sequence[AppConfig] | None, **options: Any
) -> list[CheckMessage]:
    """Each kind of entry must say who writes it."""
    return [
        Error(
            f"Nobody is named who may write {kind.slug}.",
            hint="Add the kind to WRITERS in config/roles.py.",
            obj=kind.model,
            id="config.E101",
        )
        for kind in all_kinds()
        if f"write:{kind.slug}" not in ACTIONS
    ]
