"""The parlour wall: which group's list to hang up, the list itself, and the links of screens."""

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_POST, require_safe
from rest_framework.throttling import SimpleRateThrottle

from config.once import once_only
from config.roles import action_required, may
from herd.forms.walls import ScreenForm
from herd.models import Group, WallScreen
from herd.services.wall_screens import hang_up, screen_of, take_down
from herd.wall import ASKS_EVERY
from herd.wall import wall as wall_of
from herd.withheld import NOT_MILKED

HUNG = N_(
    "The link of {screen}, shown this once: {link}. Open it on the screen. It shows this list and "
    "opens nothing else."
)
TAKEN_DOWN = N_("Withdrawn: the link of {screen}. What hangs there says NOT SURE within minutes.")


class WallThrottle(SimpleRateThrottle):
    """So many askings a minute: of one screen, or of one address that knows no screen's link."""

    scope = "wall"

    def __init__(self, screen: WallScreen | None) -> None:
        super().__init__()
        self.screen = screen

    def get_cache_key(self, request: object, view: object) -> str:
        ident = self.screen.uuid if self.screen else self.get_ident(request)  # type: ignore[arg-type]
        return str(self.cache_format % {"scope": self.scope, "ident": ident})


@action_required("read")
def walls(request: HttpRequest) -> HttpResponse:
    """The groups that are milked, each with its wall; the screens, for who may hang them up."""
    context = {
        "groups": Group.objects.standing().exclude(use__in=NOT_MILKED).order_by("number"),
        "now": timezone.now(),
        "form": ScreenForm(),
        **screens_for(request),
    }
    return render(request, "herd/walls.html", context)


def screens_for(request: HttpRequest) -> dict[str, object]:
    """The screens, those that hang first; only who may hang them up sees them."""
    if not may(request.user, "hang up walls"):
        return {"may_hang": False}
    rows = WallScreen.objects.select_related("group", "made_by", "withdrawn_by")
    hung = rows.filter(withdrawn_at=None).order_by("name", "pk")
    gone = rows.filter(withdrawn_at__isnull=False).order_by("-withdrawn_at")[:20]
    return {"may_hang": True, "hung": hung, "gone": gone}


@action_required("hang up walls")
@once_only
@require_POST
def hang(request: HttpRequest) -> HttpResponse:
    """A link for a new screen."""
    form = ScreenForm(request.POST)
    user = request.user
    assert not isinstance(user, AnonymousUser)
    if form.is_valid():
        made = form.carry_out(hang_up, by=user, **form.cleaned_data)
        if made is not None:
            screen, secret = made
            link = request.build_absolute_uri(reverse("herd:wall-hung", args=[secret]))
            messages.success(request, _(HUNG).format(screen=screen, link=link))
            return redirect("herd:walls")
    context = {"groups": [], "now": timezone.now(), "form": form, **screens_for(request)}
    return render(request, "herd/walls.html", context, status=422)


@action_required("hang up walls")
@once_only
@require_POST
def withdraw(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Withdraw a screen's link."""
    screen = get_object_or_404(WallScreen.objects.select_related("group"), uuid=uuid)
    user = request.user
    assert not isinstance(user, AnonymousUser)
    take_down(screen, by=user, at=timezone.now())
    messages.success(request, _(TAKEN_DOWN).format(screen=screen))
    return redirect("herd:walls")


@action_required("read")
def wall(request: HttpRequest, number: int) -> HttpResponse:
    """One group's list, large; it renews itself and says when it is too old."""
    return shown(request, get_object_or_404(Group.objects.standing(), number=number))


@require_safe
def wall_hung(request: HttpRequest, secret: str) -> HttpResponse:
    """The list of a screen that hangs, for nobody signed in; one answer to every other link."""
    screen = screen_of(secret, timezone.now())
    throttle = WallThrottle(screen)
    if not throttle.allow_request(request, None):  # type: ignore[arg-type]
        answer = render(request, "herd/wall_gone.html", {"often": True}, status=429)
        answer["Retry-After"] = str(int(throttle.wait() or 60) + 1)
    elif screen is None:
        answer = render(request, "herd/wall_gone.html", status=404)
    else:
        answer = shown(request, screen.group)
    # The link is the key: no cache, no search engine and no other site is told of it.
    answer["Cache-Control"] = "no-store"
    answer["Referrer-Policy"] = "no-referrer"
    answer["X-Robots-Tag"] = "noindex"
    return answer


def shown(request: HttpRequest, group: Group) -> HttpResponse:
    """The list of a group."""
    context = {"wall": wall_of(group, timezone.now()), "asks_every": ASKS_EVERY}
    answer = render(request, "herd/wall.html", context)
    # An old answer out of a cache would look as good as a new one.
    answer["Cache-Control"] = "no-store"
    return answer
