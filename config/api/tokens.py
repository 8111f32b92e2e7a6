"""Tokens for programs that use the API: a name and a password give one, and it can be ended."""

from typing import Any

from django.contrib.auth import authenticate
from django.contrib.auth.models import User
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.access import codes, limits, tokens
from config.access.models import MachineToken
from config.api.fields import MomentField
from config.client_address import address_of
from config.errors import Refused

WRONG = (
    "This name and password do not go together, or this name may not sign in, or its one-time "
    "code is missing or wrong."
)
NO_TOKEN = "You are signed in without a token, so there is none to end."


class Credentials(serializers.Serializer[Any]):
    """Who asks for a token, for which program, and what it may do."""

    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=200, trim_whitespace=False)
    code = serializers.CharField(
        max_length=40,
        required=False,
        default="",
        allow_blank=True,
        help_text="A one-time code, of a person who signs in with one.",
    )
    name = serializers.CharField(
        max_length=60, required=False, default="", allow_blank=True, help_text="Which program."
    )
    scopes = serializers.ListField(
        child=serializers.CharField(max_length=60),
        required=False,
        max_length=400,
        help_text="What it may do, in the words of the roles: “read”, “send in results”, "
        "“write:doses”. Without it the least: to read, or to send in results.",
    )
    days = serializers.IntegerField(
        min_value=1,
        max_value=tokens.LONGEST_DAYS,
        required=False,
        default=tokens.USUAL_DAYS,
        help_text="After how many days it ends.",
    )


class Token(serializers.Serializer[Any]):
    """A token; it is shown once and kept only as a digest."""

    token = serializers.CharField()
    until = MomentField()
    scopes = serializers.ListField(child=serializers.CharField())


class TokenView(APIView):
    """Ask for a token. Send it as ``Authorization: Token …`` with every request."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(request=Credentials, responses={201: Token}, auth=[])
    def post(self, request: Request) -> Response:
        """A new token of this name, which may do no more than it says."""
        asked = Credentials(data=request.data)
        asked.is_valid(raise_exception=True)
        said = asked.validated_data
        limits.count_try(limits.SIGN_INS, address_of(request._request), timezone.now())
        user = self.person(request, said)
        kept, text = tokens.make(
            user,
            name=said["name"].strip() or "API",
            scopes=said.get("scopes", ()),
            days=said["days"],
            request=request._request,
        )
        told = {"token": text, "until": kept.expiry, "scopes": kept.scopes}
        return Response(Token(told).data, status=201)

    def person(self, request: Request, said: dict[str, Any]) -> User:
        """Whose name and password these are. Raises AuthenticationFailed, one for any fault."""
        # With the request, so that wrong passwords are counted and locked out.
        user = authenticate(request._request, username=said["username"], password=said["password"])
        if not isinstance(user, User) or not has_second(request, user, said["code"]):
            raise AuthenticationFailed(WRONG)
        return user


def has_second(request: Request, user: User, code: str) -> bool:
    """Whether the second factor is there, where this person signs in with one or must."""
    now = timezone.now()
    if codes.has_codes(user):
        return codes.is_right(user, code, now, request=request._request)
    return not codes.is_missing(user, now)


class TokenEndView(APIView):
    """End the token this request was sent with."""

    permission_classes = ()

    @extend_schema(request=None, responses={204: None})
    def post(self, request: Request) -> Response:
        """The token is worthless from now on."""
        if not request.user.is_authenticated:
            self.permission_denied(request)
        if not isinstance(request.auth, MachineToken):
            raise Refused(NO_TOKEN)
        tokens.end(request.auth, by=request.user, request=request._request)
        return Response(status=204)
