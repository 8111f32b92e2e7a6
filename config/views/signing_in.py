"""Signing in: the name and the password."""

from typing import Any

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils import timezone

from config.access import limits, sessions
from config.client_address import address_of


class SignIn(LoginView):
    """/login/: the same words for a wrong password, a name nobody has, and somebody who left."""

    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Count what comes from one address, whatever names it tries."""
        limits.count_try(limits.SIGN_INS, address_of(request), timezone.now())
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """The password is right."""
        sessions.begin(self.request, form.get_user())
        return HttpResponseRedirect(self.get_success_url())
