"""The people who work here: what each may do, where they are signed in, and their leaving."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.db.models import Count, Max, Prefetch, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from config.access import codes, events, phones, sessions, tokens
from config.access.models import MachineToken, Session
from config.forms.access import AskedAgainForm
from config.roles import ROLES, SYSTEM_USER, action_required
from config.views.account import about, ended_words

LOOK_AFTER = "look after people"
NOT_ONESELF = N_("Nobody switches off themselves: another one of the office or the owner does.")
OFF = N_("{name} can sign in no more. What they wrote stays theirs.")
ON = N_("{name} may sign in again, with the password they had.")
NOWHERE = N_("{name} is signed in nowhere.")
NOT_ONES_OWN_CODE = N_("Your own codes are ended under “Your access”.")
CODE_FORGOTTEN = N_(
    "The one-time codes of {name} are forgotten, and they are signed out. Be sure it was them who "
    "asked; let them set up a new app at once."
)
PIN_ENDED = N_("The PIN of {name} is ended; they choose another under “Your access”.")
TOKEN_ENDED = N_("Ended: the token for {name}. The program is refused from now on.")
SIGNED_OUT = N_("{name} is signed out everywhere.")
SIGNED_OUT_THERE = N_("{name} is signed out there: {where}.")


def everybody() -> QuerySet[User]:
    """Who may or might sign in; the program's own name is no person."""
    groups = Prefetch("groups", queryset=Role.objects.order_by("name"), to_attr="known_roles")
    return User.objects.exclude(username=SYSTEM_USER).prefetch_related(groups)


@never_cache
@action_required(LOOK_AFTER)
def people(request: HttpRequest) -> HttpResponse:
    """Everybody, those who may sign in first."""
    seen = {
        row["user"]: row
        for row in Session.objects.exclude(user=None)
        .values("user")
        .annotate(last=Max("seen_at"), number=Count("pk"))
    }
    rows = [
        {
            "person": person,
            "roles": [role for role in ROLES if role in {one.name for one in person.known_roles}],  # type: ignore[attr-defined]
            "seen": seen.get(person.pk),
        }
        for person in everybody().order_by("-is_active", "username")
    ]
    return render(request, "config/access/people.html", {"rows": rows})


@never_cache
@action_required(LOOK_AFTER)
def person(request: HttpRequest, number: int) -> HttpResponse:
    """One person's access."""
    user = get_object_or_404(everybody(), pk=number)
    return shown(request, user, AskedAgainForm(user=doer(request)))


def shown(request: HttpRequest, user: User, form: AskedAgainForm) -> HttpResponse:
    """The page of a person, with the form that switches them off or on."""
    context: dict[str, Any] = {
        **about(user, request),
        "form": form,
        "is_me": user.pk == request.user.pk,
        "own": False,
        "tokens": tokens.standing(user),
    }
    status = 422 if form.errors else 200
    return render(request, "config/access/person.html", context, status=status)


def doer(request: HttpRequest) -> User:
    """Who asks; the decorator has seen to it that somebody is signed in."""
    assert isinstance(request.user, User)
    return request.user


@action_required(LOOK_AFTER)
@require_POST
def person_session_end(request: HttpRequest, number: int, uuid: UUID) -> HttpResponse:
    """Sign somebody out on one device."""
    user = get_object_or_404(everybody(), pk=number)
    row = get_object_or_404(Session, uuid=uuid, user=user)
    where = sessions.browser_words(row.browser)
    sessions.end(Session.objects.filter(pk=row.pk))
    events.keep(user, events.SESSION_ENDED, where, by=request.user, request=request)
    messages.success(request, _(SIGNED_OUT_THERE).format(name=user, where=where))
    return redirect("person", number=number)


@action_required(LOOK_AFTER)
@require_POST
def person_sessions_end(request: HttpRequest, number: int) -> HttpResponse:
    """Sign somebody out everywhere."""
    user = get_object_or_404(everybody(), pk=number)
    if user.pk == request.user.pk:
        messages.success(request, ended_words(sessions.end_others(user, request)))
        return redirect("person", number=number)
    ended = sessions.end(Session.objects.filter(user=user))
    if ended:
        events.keep(user, events.SESSIONS_ENDED, by=request.user, request=request)
    messages.success(request, _(SIGNED_OUT if ended else NOWHERE).format(name=user))
    return redirect("person", number=number)


@action_required(LOOK_AFTER)
@require_POST
@sensitive_post_parameters()
def person_switch(request: HttpRequest, number: int) -> HttpResponse:
    """Switch somebody off when they leave, or on again; the doer's password is asked again."""
    user = get_object_or_404(everybody(), pk=number)
    if user.pk == request.user.pk:
        raise PermissionDenied(_(NOT_ONESELF))
    form = AskedAgainForm(request.POST, user=doer(request))
    if not form.is_valid():
        return shown(request, user, form)
    if user.is_active:
        sessions.switch_off(user, by=doer(request), request=request)
    else:
        User.objects.filter(pk=user.pk).update(is_active=True)
        events.keep(user, events.SWITCHED_ON, by=request.user, request=request)
    messages.success(request, _(OFF if user.is_active is False else ON).format(name=user))
    return redirect("person", number=number)


@action_required(LOOK_AFTER)
@require_POST
def person_token_end(request: HttpRequest, number: int, uuid: UUID) -> HttpResponse:
    """End a token that a program has of somebody."""
    user = get_object_or_404(everybody(), pk=number)
    token = get_object_or_404(MachineToken, uuid=uuid, user=user)
    tokens.end(token, by=request.user, request=request)
    messages.success(request, _(TOKEN_ENDED).format(name=token.name))
    return redirect("person", number=number)


@action_required(LOOK_AFTER)
@require_POST
def person_pin_end(request: HttpRequest, number: int) -> HttpResponse:
    """End somebody's PIN, which others may know by now."""
    user = get_object_or_404(everybody(), pk=number)
    phones.end_pin(user, by=doer(request), request=request)
    messages.success(request, _(PIN_ENDED).format(name=user))
    return redirect("person", number=number)


@never_cache
@action_required(LOOK_AFTER)
@sensitive_post_parameters()
def person_code(request: HttpRequest, number: int) -> HttpResponse:
    """Forget the app and the recovery codes of somebody who has lost both."""
    user = get_object_or_404(everybody(), pk=number)
    if user.pk == request.user.pk:
        raise PermissionDenied(_(NOT_ONES_OWN_CODE))
    form = AskedAgainForm(request.POST or None, user=doer(request))
    if request.method == "POST" and form.is_valid():
        codes.end(user, by=doer(request), request=request)
        sessions.end(Session.objects.filter(user=user))
        messages.success(request, _(CODE_FORGOTTEN).format(name=user))
        return redirect("person", number=number)
    context = {"person": user, "form": form}
    status = 422 if form.errors else 200
    return render(request, "config/access/person_code.html", context, status=status)
