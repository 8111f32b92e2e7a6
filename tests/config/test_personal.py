"""What is kept about a person: told to them, and for how long."""

import json
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from axes.models import AccessAttempt, AccessLog
from django.core.management import call_command
from django.core.management.base import CommandError
from django.utils import timezone

from config.entries import strike
from config.models import MachineToken
from config.personal import SIGN_INS_KEPT
from config.tasks import clear_old
from tests.factories.herd import make_animal

pytestmark = pytest.mark.django_db


def kept(name: str) -> tuple[dict[str, Any], str]:
    out = StringIO()
    call_command("personal", name, stdout=out)
    return json.loads(out.getvalue()), out.getvalue()


def sign_in(username: str, days_ago: int) -> None:
    """A sign-in and a wrong password, so many days ago."""
    where = {"username": username, "ip_address": "192.0.2.7", "user_agent": f"browser {days_ago}"}
    for row in (
        AccessLog.objects.create(**where),
        AccessAttempt.objects.create(**where, failures_since_start=1),
    ):
        at = timezone.now() - timedelta(days=days_ago)
        type(row).objects.filter(pk=row.pk).update(attempt_time=at)


def test_everything_about_one_and_nothing_about_another(vet: Any, stockman: Any) -> None:
    one, other = make_animal(by=vet), make_animal(by=stockman)
    strike(other, by=vet, reason="twice")
    sign_in("vet", 1)
    sign_in("stockman", 1)
    _, secret = MachineToken.objects.create(vet, name="scales", scopes=["read"])
    vet.set_password("a word nobody tells")
    vet.save()

    told, text = kept("vet")

    assert told["account"]["roles"] == ["vet"]
    assert told["entries"]["animals"] == {"written": 1, "struck": 1}
    assert [row["ip_address"] for row in told["sign_ins"]] == ["192.0.2.7"]
    assert len(told["wrong_passwords"]) == 1
    assert told["tokens"][0]["name"] == "scales"
    assert one.by == vet
    # No secret is told, not even to whom it belongs.
    assert secret not in text
    assert secret[:15] not in text
    assert vet.password not in text
    assert "stockman" not in text


def test_a_name_nobody_has_is_said(db: None) -> None:
    with pytest.raises(CommandError, match="Nobody is called “x”"):
        kept("x")


def test_from_where_somebody_signed_in_is_forgotten_after_a_year(vet: Any) -> None:
    sign_in("vet", SIGN_INS_KEPT.days - 1)
    sign_in("vet", SIGN_INS_KEPT.days + 1)
    make_animal(by=vet)

    clear_old()

    assert AccessLog.objects.count() == AccessAttempt.objects.count() == 1
    assert kept("vet")[0]["entries"]["animals"]["written"] == 1
