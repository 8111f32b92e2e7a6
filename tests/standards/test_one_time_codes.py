"""One-time codes against their standard.

Source: RFC 6238 (TOTP), appendix B, table 1: test values for SHA-1 with the secret
"12345678901234567890" (20 bytes of ASCII), X = 30 s, T0 = 0, eight figures. Six figures are the
last six of those (RFC 4226, 5.3: the value modulo 10 to the number of figures).
"""

from base64 import b32decode, b32encode
from datetime import UTC, datetime
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from django.contrib.auth.models import User
from hypothesis import given
from hypothesis import strategies as st

from config.access import codes

SECRET = b32encode(b"12345678901234567890").decode()
# Seconds since 1970, and the value.
APPENDIX_B = (
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
)


def at(seconds: int) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


@pytest.mark.parametrize(("seconds", "value"), APPENDIX_B)
def test_the_codes_of_appendix_b(seconds: int, value: str) -> None:
    assert codes.code_at(SECRET, at(seconds), digits=8) == value
    assert codes.code_at(SECRET, at(seconds)) == value[-6:]


@pytest.mark.parametrize(("seconds", "value"), APPENDIX_B)
def test_one_step_around_is_let_through_and_no_more(seconds: int, value: str) -> None:
    """RFC 6238, 5.2: at most one time step is allowed as the network delay."""
    code, step = value[-6:], seconds // 30
    for late, wanted in ((0, step), (30, step), (-30, step), (60, None), (-60, None), (300, None)):
        # Before the second step there is none before it.
        if seconds + late >= 30:
            assert codes.step_of(code, SECRET, at(seconds + late)) == wanted


@given(st.binary(min_size=16, max_size=16))
def test_a_secret_has_the_length_the_standard_asks_for(salt: bytes) -> None:
    """RFC 4226, section 4, R6: at least 128 bits; 160 are recommended."""
    secret = codes.secret_of(salt.hex())
    assert len(b32decode(secret)) == 20
    assert secret == codes.secret_of(salt.hex())
    assert secret != codes.secret_of("another" + salt.hex())


def test_the_address_says_what_every_app_reads() -> None:
    """The otpauth address that apps read: type, label, secret, issuer (common practice)."""
    offer = codes.offer(User(username="vet"), "a salt")
    url = urlsplit(offer.address)
    asked = parse_qs(url.query)
    assert (url.scheme, url.netloc, unquote(url.path)) == ("otpauth", "totp", "/Swardline:vet")
    assert asked["secret"] == [offer.secret]
    assert asked["issuer"] == ["Swardline"]
    # What is not said is SHA1, 6 figures, 30 seconds.
    assert asked.get("algorithm", ["SHA1"]) == ["SHA1"]
    assert asked.get("digits", ["6"]) == ["6"]
    assert asked.get("period", ["30"]) == ["30"]
