"""Tokens for machines that use the API: a name and a password give one, and it can be ended."""

from typing import Any

from django.contrib.auth import authenticate
from drf_spectacular.utils import extend_schema
from knox.models import AuthToken
from rest_framework import serializers
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.errors import Refused

WRONG = "This name and password do not go together, or this name may not sign in."
NO_TOKEN = "You are signed in without a token, so there is none to end."


class Credentials(serializers.Serializer[Any]):
    """Who asks for a token."""

    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=200, trim_whitespace=False)


class Token(serializers.Serializer[Any]):
    """A token; it is shown once and kept only as a digest."""

    token = serializers.CharField()
    until = MomentField()


class TokenView(APIView):
    """Ask for a token. Send it as ``Authorization: Token …`` with every request."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(request=Credentials, responses={201: Token}, auth=[])
    def post(self, request: Request) -> Response:
        """A new token for this name."""
        asked = Credentials(data=request.data)
        asked.is_valid(raise_exception=True)
        # With the request, so that wrong passwords are counted and locked out.
        user = authenticate(request._request, **asked.validated_data)
        if user is None:
            raise AuthenticationFailed(WRONG)
        kept, token = AuthToken.objects.create(user)
        return Response(Token({"token": token, "until": kept.expiry}).data, status=201)


class TokenEndView(APIView):
    """End the token this request was sent with."""

    permission_classes = ()

    @extend_schema(request=None, responses={204: None})
    def post(self, request: Request) -> Response:
        """The token is worthless from now on."""
        if not request.user.is_authenticated:
            self.permission_denied(request)
        if not isinstance(request.auth, AuthToken):
            raise Refused(NO_TOKEN)
        request.auth.delete()
        return Response(status=204)
