"""Whose wrong passwords and requests are counted together: by address, which nobody can forge."""

from typing import Any

import pytest
from axes.models import AccessAttempt
from django.test import RequestFactory

from config.client_address import address_of


def asked(forwarded: str | None) -> Any:
    headers = {} if forwarded is None else {"X-Forwarded-For": forwarded}
    return RequestFactory().get("/", headers=headers, REMOTE_ADDR="127.0.0.1")


@pytest.mark.parametrize("forwarded", [None, "192.0.2.7", "nonsense"])
def test_without_a_proxy_only_the_connection_counts(forwarded: str | None, settings: Any) -> None:
    settings.BEHIND_PROXY = False
    assert address_of(asked(forwarded)) == "127.0.0.1"


@pytest.mark.parametrize(
    ("forwarded", "address"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("198.51.100.1, 192.0.2.7", "192.0.2.7"),
        ("2001:db8::1", "2001:db8::1"),
        ("192.0.2.7, nonsense", "127.0.0.1"),
        ("", "127.0.0.1"),
        (None, "127.0.0.1"),
    ],
)
def test_behind_one_what_it_wrote_itself_counts(
    forwarded: str | None, address: str, settings: Any
) -> None:
    settings.BEHIND_PROXY = True
    assert address_of(asked(forwarded)) == address


@pytest.mark.django_db
def test_wrong_passwords_are_counted_by_it(client: Any, settings: Any) -> None:
    settings.AXES_ENABLED = settings.BEHIND_PROXY = True
    client.post(
        "/login/",
        {"username": "vet", "password": "wrong"},
        headers={"X-Forwarded-For": "198.51.100.1, 192.0.2.7"},
    )
    assert AccessAttempt.objects.get().ip_address == "192.0.2.7"
