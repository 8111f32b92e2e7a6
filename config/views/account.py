"""One's own access: the password, where one is signed in, and what was done about it lately."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import BACKEND_SESSION_KEY, logout
from django.contrib.auth.models import User
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from config.access import codes, events, passwords, phones, sessions, tokens
from config.access.models import OneTimeCode, Pin, Session
from config.forms.access import PasswordForm, PinForm
from config.roles import roles_of

P = ParamSpec("P")
Mine = Callable[Concatenate[HttpRequest, User, P], HttpResponse]
View = Callable[Concatenate[HttpRequest, P], HttpResponse]

BY_PIN = N_(
    "You are signed in with your PIN, on a phone that others use too. Sign in with your password "
    "to change this."
)
CHANGED = N_("Your password is changed.")
PIN_SET = N_("Your PIN is set. It counts on the shared phones of the estate only.")
PIN_ENDED = N_("Your PIN is ended.")
ENDED = N_("Signed out there: {where}.")


def is_by_pin(request: HttpRequest) -> bool:
    """Whether whoever asks signed in with a PIN, on a phone that others use too."""
    return bool(request.session.get(BACKEND_SESSION_KEY) == phones.BY_PIN)


def own(view: Mine[P]) -> View[P]:
    """Decorator of a page about oneself: whoever is signed in, with or without a role."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        user = request.user
        if not isinstance(user, User):
            return redirect_to_login(request.get_full_path())
        return never_cache(view)(request, user, *args, **kwargs)

    guard: View[P] = guarded  # type: ignore[assignment]
    return guard


def by_password(view: Mine[P]) -> Mine[P]:
    """Decorator below ``own``: a PIN is not enough for this."""

    @wraps(view)
    def guarded(
        request: HttpRequest, user: User, /, *args: P.args, **kwargs: P.kwargs
    ) -> HttpResponse:
        if is_by_pin(request):
            raise PermissionDenied(_(BY_PIN))
        return view(request, user, *args, **kwargs)

    guard: Mine[P] = guarded
    return guard


@own
def account(request: HttpRequest, user: User) -> HttpResponse:
    """One's own access on one page."""
    return render(request, "config/access/account.html", {**about(user, request), "own": True})


def about(user: User, request: HttpRequest) -> dict[str, Any]:
    """What a page about somebody's access shows: sessions with their words, and what was done."""
    own_key = request.session.session_key
    listed = [
        (row, sessions.browser_words(row.browser), row.session_key == own_key)
        for row in sessions.standing(user)
    ]
    return {
        "person": user,
        "roles": roles_of(user),
        "sessions": sorted(listed, key=lambda row: not row[2]),
        "events": events.latest(user),
        "by_pin": is_by_pin(request),
        "pin": Pin.objects.filter(user=user).first(),
        "tokens": tokens.standing(user).count(),
        "may_have_token": bool(tokens.scopes_of(user)),
        "may_have_pin": phones.may_have_pin(user),
        "code": OneTimeCode.objects.filter(user=user).first(),
        "codes_left": codes.recovery_left(user),
        "needs_codes": set(roles_of(user)) & set(codes.NEED_CODES),
        "codes_due": codes.due_at(user),
        "codes_required": settings.CODES_REQUIRED,
    }


@own
@by_password
@sensitive_post_parameters()
def password(request: HttpRequest, user: User) -> HttpResponse:
    """Change one's own password."""
    form = PasswordForm(request.POST or None, user=user)
    if request.method == "POST" and form.is_valid():
        ended = passwords.change(user, form.cleaned_data["new"], request=request)
        messages.success(request, f"{_(CHANGED)} {ended_words(ended)}".strip())
        return redirect("account")
    status = 422 if form.errors else 200
    return render(request, "config/access/password.html", {"form": form}, status=status)


def ended_words(number: int) -> str:
    """How many other sessions ended; "" for none."""
    if not number:
        return ""
    words = ngettext(
        "You are signed out on one other device.",
        "You are signed out on {number} other devices.",
        number,
    )
    return words.format(number=number)


@own
@require_POST
def session_end(request: HttpRequest, user: User, uuid: UUID) -> HttpResponse:
    """Sign out on one other device."""
    row = get_object_or_404(Session, uuid=uuid, user=user)
    where = sessions.browser_words(row.browser)
    sessions.end(Session.objects.filter(pk=row.pk))
    events.keep(user, events.SESSION_ENDED, where, by=user, request=request)
    messages.success(request, _(ENDED).format(where=where))
    return redirect("account")


@own
@require_POST
def sessions_end(request: HttpRequest, user: User) -> HttpResponse:
    """Sign out everywhere but here."""
    ended = sessions.end_others(user, request)
    if ended:
        events.keep(user, events.SESSIONS_ENDED, by=user, request=request)
    messages.success(request, ended_words(ended) or _("You are signed in nowhere else."))
    return redirect("account")


@own
@by_password
@sensitive_post_parameters()
def pin(request: HttpRequest, user: User) -> HttpResponse:
    """Choose a PIN for shared phones."""
    form = PinForm(request.POST or None, user=user)
    if request.method == "POST" and form.is_valid():
        try:
            phones.set_pin(user, form.cleaned_data["pin"], request=request)
        except ValidationError as refused:
            form.take_errors(refused)
        else:
            messages.success(request, _(PIN_SET))
            return redirect("account")
    context = {"form": form, "may": phones.may_have_pin(user), "for_roles": phones.PHONE_ROLES}
    status = 422 if form.errors else 200
    return render(request, "config/access/pin.html", context, status=status)


@own
@require_POST
def pin_end(request: HttpRequest, user: User) -> HttpResponse:
    """End one's own PIN."""
    by_pin = is_by_pin(request)
    phones.end_pin(user, by=user, request=request)
    if by_pin:
        logout(request)
        return redirect("login")
    messages.success(request, _(PIN_ENDED))
    return redirect("account")
