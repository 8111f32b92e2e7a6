"""One's own one-time codes: set up an app, new recovery codes, and their end."""

from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.debug import sensitive_post_parameters

from config.access import codes, sessions
from config.access.models import OneTimeCode
from config.forms.access import AskedAgainForm, SetUpForm
from config.views.account import by_password, own

# The salt of an app that is being set up, until its first code is right.
NEW = "new codes"
WRONG_CODE = N_(
    "This is not the code. Codes change every 30 seconds; look whether the clock of the phone is "
    "right, and type the one it shows now."
)
ENDED = N_("Your one-time codes are ended.")


@own
@by_password
@sensitive_post_parameters()
def code(request: HttpRequest, user: User) -> HttpResponse:
    """Set up an app for one-time codes; once there is one, this leads to what can be done."""
    kept = OneTimeCode.objects.filter(user=user).first()
    if kept is not None:
        context = {"kept": kept, "left": codes.recovery_left(user)}
        return render(request, "config/access/code.html", context)
    salt = request.session.setdefault(NEW, codes.new_salt())
    form = SetUpForm(request.POST or None, user=user)
    if request.method == "POST" and form.is_valid():
        step = codes.step_of(
            "".join(form.cleaned_data["code"].split()), codes.secret_of(salt), timezone.now()
        )
        if step is not None:
            del request.session[NEW]
            made = codes.set_up(user, salt, step, request=request)
            sessions.end_others(user, request)
            return recovery_shown(request, made)
        form.add_error("code", _(WRONG_CODE))
    context = {
        "form": form,
        "offer": codes.offer(user, salt),
        "missing": codes.is_missing(user, timezone.now()),
    }
    status = 422 if form.errors else 200
    return render(request, "config/access/code_new.html", context, status=status)


def recovery_shown(request: HttpRequest, made: list[str]) -> HttpResponse:
    """The recovery codes, this once."""
    return render(request, "config/access/recovery.html", {"made": made})


@own
@by_password
@sensitive_post_parameters()
def recovery(request: HttpRequest, user: User) -> HttpResponse:
    """New recovery codes; those before count no more."""
    if not codes.has_codes(user):
        return redirect("account-code")
    form = AskedAgainForm(request.POST or None, user=user)
    if request.method == "POST" and form.is_valid():
        return recovery_shown(request, codes.renew_recovery(user, request=request))
    context = {"form": form, "left": codes.recovery_left(user)}
    status = 422 if form.errors else 200
    return render(request, "config/access/recovery_new.html", context, status=status)


@own
@by_password
@sensitive_post_parameters()
def code_end(request: HttpRequest, user: User) -> HttpResponse:
    """End one's one-time codes: the app and the recovery codes count no more."""
    if not codes.has_codes(user):
        return redirect("account-code")
    form = AskedAgainForm(request.POST or None, user=user)
    if request.method == "POST" and form.is_valid():
        codes.end(user, by=user, request=request)
        messages.success(request, _(ENDED))
        return redirect("account")
    context = {"form": form, "needed": codes.due_at(user) is not None}
    status = 422 if form.errors else 200
    return render(request, "config/access/code_end.html", context, status=status)
