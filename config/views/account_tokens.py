"""One's own tokens for programs: what each may do, when it was used last, and its end."""

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from config.access import tokens as of_programs
from config.access.models import MachineToken
from config.forms.access import TokenForm
from config.kinds import all_kinds
from config.views.account import by_password, own
from config.views.pages import action_words

ENDED = N_("Ended: the token for {name}. The program is refused from now on.")


def titles() -> dict[str, str]:
    """The names of the kinds by their slugs."""
    return {kind.slug: str(kind.title) for kind in all_kinds()}


def words_of(scopes: list[str]) -> list[str]:
    """What a token may do, as a person says it."""
    known = titles()
    return [action_words(scope, known) for scope in scopes]


def listed(user: User) -> list[MachineToken]:
    """Somebody's tokens, each with the words of what it may do."""
    found = list(of_programs.standing(user))
    for token in found:
        token.words = words_of(token.scopes)
    return found


@own
@by_password
@sensitive_post_parameters()
def tokens(request: HttpRequest, user: User) -> HttpResponse:
    """One's own tokens, and a form for another one; it is shown once, in the answer."""
    scopes = of_programs.scopes_of(user)
    choices = list(zip(scopes, words_of(scopes), strict=True))
    form = TokenForm(request.POST or None, user=user, choices=choices)
    if request.method == "POST" and form.is_valid():
        asked = form.cleaned_data
        made = form.carry_out(
            of_programs.make,
            user,
            name=asked["name"],
            scopes=[*asked["acts"], *asked["kinds"]],
            days=asked["days"],
            request=request,
        )
        if made is not None:
            kept, text = made
            context = {"kept": kept, "token": text, "words": words_of(kept.scopes)}
            return render(request, "config/access/token_made.html", context)
    context = {"tokens": listed(user), "form": form, "may_make": bool(choices)}
    status = 422 if form.errors else 200
    return render(request, "config/access/tokens.html", context, status=status)


@own
@require_POST
def token_end(request: HttpRequest, user: User, uuid: UUID) -> HttpResponse:
    """End one of one's own tokens."""
    token = get_object_or_404(MachineToken, uuid=uuid, user=user)
    of_programs.end(token, by=user, request=request)
    messages.success(request, _(ENDED).format(name=token.name))
    return redirect("account-tokens")
