"""Signing in: the name and the password, then a code of those who have set up an app."""

from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import User
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from config.access import codes, limits, phones, sessions
from config.access.phones import people_on_phones, phone_here
from config.client_address import address_of
from config.forms.access import ByPinForm, CodeForm

# Whose password was right, and whose code is waited for.
WAITS = "waits for a code"
PATIENCE = timedelta(minutes=5)
WRONG_PIN = N_("This is not the PIN. After a few wrong ones nobody tries for a quarter of an hour.")
WRONG_CODE = N_(
    "This is no code of yours that still counts. Each counts once: wait for the next one, or look "
    "whether the clock of your phone is right."
)


class SignIn(LoginView):
    """/login/: the same words for a wrong password, a name nobody has, and somebody who left."""

    redirect_authenticated_user = True

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """On a shared phone also who may sign in with a PIN."""
        found = super().get_context_data(**kwargs) | pin_context(self.request, None)
        if "phone" in found:
            # The name to choose comes first there.
            found["form"].fields["username"].widget.attrs.pop("autofocus", None)
        return found

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Count what comes from one address, whatever names it tries."""
        limits.count_try(limits.SIGN_INS, address_of(request), timezone.now())
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """The password is right: in, or on to the code."""
        user = form.get_user()
        assert isinstance(user, User)
        onward = self.get_success_url()
        if not codes.has_codes(user):
            sessions.begin(self.request, user, phone=phone_here(self.request))
            return HttpResponseRedirect(onward)
        # Another number for the session, as at any step that opens more.
        self.request.session.cycle_key()
        self.request.session[WAITS] = {
            "user": user.pk,
            "hash": user.get_session_auth_hash(),
            "at": timezone.now().isoformat(),
            "onward": onward,
        }
        return redirect("login-code")


@never_cache
@sensitive_post_parameters()
def code(request: HttpRequest) -> HttpResponse:
    """/login/code/: the code of whose password was right just now."""
    waits: dict[str, Any] = request.session.get(WAITS) or {}
    user = who_waits(waits)
    if user is None:
        return redirect("login")
    form = CodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        if codes.is_right(user, form.cleaned_data["code"], timezone.now(), request=request):
            del request.session[WAITS]
            sessions.begin(request, user, phone=phone_here(request))
            return HttpResponseRedirect(waits["onward"])
        form.add_error("code", _(WRONG_CODE))
    status = 422 if form.errors else 200
    context = {"form": form, "back": reverse("login")}
    return render(request, "registration/login_code.html", context, status=status)


def who_waits(waits: dict[str, Any]) -> User | None:
    """Who waits for a code; None when nobody does, it was too long ago, or they left meanwhile."""
    if not waits:
        return None
    if timezone.now() - datetime.fromisoformat(waits["at"]) > PATIENCE:
        return None
    user = User.objects.filter(pk=waits["user"], is_active=True).first()
    if user is None or not constant_time_compare(user.get_session_auth_hash(), waits["hash"]):
        return None
    return user


def pin_context(request: HttpRequest, form: ByPinForm | None) -> dict[str, Any]:
    """What the sign-in page shows on a shared phone; nothing on any other device."""
    phone = phone_here(request)
    if phone is None:
        return {}
    people = people_on_phones()
    return {"phone": phone, "people": people, "pin_form": form or ByPinForm(people=people)}


@never_cache
@require_POST
@sensitive_post_parameters()
def pin(request: HttpRequest) -> HttpResponse:
    """/login/pin/: sign in with a PIN, on a shared phone only."""
    phone = phone_here(request)
    if phone is None:
        return redirect("login")
    people = people_on_phones()
    form = ByPinForm(request.POST, people=people)
    if form.is_valid():
        chosen = {one.pk: one for one in people}[form.cleaned_data["person"]]
        typed = form.cleaned_data["pin"]
        if phones.is_right(chosen, typed, phone, timezone.now(), request=request):
            sessions.begin(request, chosen, backend=phones.BY_PIN, phone=phone)
            answer = HttpResponseRedirect(onward_of(request))
            # Renewed with use, so that it does not run out.
            phones.give_key(answer, request.COOKIES[settings.PHONE_COOKIE_NAME])
            return answer
        form.add_error("pin", _(WRONG_PIN))
    by_word = AuthenticationForm(request)
    by_word.fields["username"].widget.attrs.pop("autofocus", None)
    context = {
        "form": by_word,
        "next": request.POST.get("next", ""),
        **pin_context(request, form),
    }
    return render(request, "registration/login.html", context, status=422)


def onward_of(request: HttpRequest) -> str:
    """Where somebody wanted to go before they signed in; never to another site."""
    asked = request.POST.get("next", "")
    safe = url_has_allowed_host_and_scheme(
        asked, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return asked if safe else reverse(settings.LOGIN_REDIRECT_URL)
