"""Who may do what, in one place. Roles are Django groups; an action is a word and a kind.

``write:<slug>`` makes an entry of a kind, ``strike:<slug>`` strikes or re-enters one. Everybody
who works on the estate may read; the inspector may only read; a laboratory may send in its
results and see nothing.
"""

from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import AnonymousUser, User
from django.contrib.auth.views import redirect_to_login
from django.contrib.postgres.aggregates import ArrayAgg
from django.core.exceptions import PermissionDenied
from django.db.models import Exists, OuterRef, Q, QuerySet, Value
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from config.access.models import OneTimeCode
from config.begun import begun
from config.entries import Entry
from config.one_row import OneRow

VET, STOCKMAN, MILKER, FEED_HAND = N_("vet"), N_("stockman"), N_("milker"), N_("feed hand")
CHEESEMAKER, STORE_HAND, OFFICE = N_("cheesemaker"), N_("store hand"), N_("office")
OWNER, INSPECTOR, LABORATORY = N_("owner"), N_("inspector"), N_("laboratory")
READERS = (VET, STOCKMAN, MILKER, FEED_HAND, CHEESEMAKER, STORE_HAND, OFFICE, OWNER, INSPECTOR)
ROLES = (*READERS, LABORATORY)

# Common practice on farms that keep a book by phone: your own slip is yours to mend at once.
OWN_MISTAKE = timedelta(minutes=30)

# In whose name the program writes what it works out by itself (config/migrations/0002).
SYSTEM_USER = "swardline"

VERBS = (N_("write"), N_("strike"))

NO_ROLE = N_("You are signed in, but nobody has given you a role yet. Ask the vet or the office.")
TOKEN_MAY_NOT = N_("This token may not {action}. It may: {scopes}. Make one that may.")
MAY_NOT = N_("Your role ({roles}) may not {action}. It is open to: {allowed}.")

# Per kind: who writes it, who strikes it (house rule of the estate).
WRITERS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "holdings": ((OFFICE, VET), (OFFICE, VET)),
    "animals": ((OFFICE, STOCKMAN, VET), (OFFICE, VET)),
    "tag-events": ((STOCKMAN, VET), (VET,)),
    "breed-rules": ((VET, OFFICE), (VET,)),
    "leg-bands": ((MILKER, STOCKMAN, VET), (STOCKMAN, VET)),
    "unknown-cows": ((MILKER, STOCKMAN, VET), (STOCKMAN, VET)),
    "cows-known-again": ((STOCKMAN, VET), (VET,)),
    "groups": ((VET, OFFICE), (VET,)),
    "milking-times": ((VET, OFFICE), (VET,)),
    "group-stays": ((STOCKMAN, MILKER, VET, OFFICE), (STOCKMAN, VET)),
    "calvings": ((STOCKMAN, VET), (VET,)),
    "calves": ((STOCKMAN, VET), (VET,)),
    "heats": ((STOCKMAN, VET), (VET,)),
    "breeding-decisions": ((VET,), (VET,)),
    "services": ((STOCKMAN, VET), (VET,)),
    "pregnancy-checks": ((VET,), (VET,)),
    "dry-offs": ((VET, STOCKMAN), (VET,)),
    "health-events": ((VET, STOCKMAN), (VET,)),
    "unfit-signs": ((VET,), (VET,)),
    "medicines": ((VET,), (VET,)),
    "medicine-versions": ((VET,), (VET,)),
    "medicine-moves": ((VET, OFFICE), (VET,)),
    "period-rules": ((VET,), (VET,)),
    "treatment-plans": ((VET,), (VET,)),
    "courses": ((VET,), (VET,)),
    "dose-answers": ((VET,), (VET,)),
    "doses": ((VET, STOCKMAN, MILKER), (VET,)),
    "cow-tests": ((VET, STOCKMAN), (VET,)),
    "recordings": ((OFFICE, VET), (OFFICE, VET)),
    "fields": ((FEED_HAND, OFFICE), (OFFICE,)),
    "field-works": ((FEED_HAND, OFFICE), (OFFICE,)),
    "field-walks": ((FEED_HAND, VET), (FEED_HAND, VET)),
    "wait-rules": ((VET,), (VET,)),
    "window-rules": ((VET,), (VET,)),
    "clearance-rules": ((VET,), (VET,)),
    "air-hours": ((FEED_HAND, OFFICE, VET), (FEED_HAND, OFFICE, VET)),
    "feed-share-rules": ((VET,), (VET,)),
    "feed-rules": ((VET,), (VET,)),
    "feed-figures": ((VET, OFFICE), (VET,)),
    "grass-targets": ((FEED_HAND, VET), (FEED_HAND, VET)),
    "forage-batches": ((FEED_HAND, VET), (FEED_HAND, VET)),
    "heap-checks": ((FEED_HAND, VET), (FEED_HAND, VET)),
    "dry-matter-samples": ((FEED_HAND, VET), (FEED_HAND, VET)),
    "feedings": ((FEED_HAND, VET), (FEED_HAND, VET)),
    "refusals": ((FEED_HAND, VET), (FEED_HAND, VET)),
    "discards": ((FEED_HAND, CHEESEMAKER, VET), (VET,)),
    "feed-lots": ((FEED_HAND, OFFICE), (OFFICE,)),
    "stack-checks": ((FEED_HAND, VET), (FEED_HAND, VET)),
    "tanks": ((CHEESEMAKER, OFFICE), (CHEESEMAKER,)),
    "tank-events": ((MILKER, CHEESEMAKER), (CHEESEMAKER,)),
    "milkings": ((MILKER, VET), (MILKER, VET)),
    "meter-corrections": ((VET, CHEESEMAKER), (VET,)),
    "deliveries": ((CHEESEMAKER, OFFICE), (CHEESEMAKER,)),
    "lot-tests": ((CHEESEMAKER, OFFICE, VET), (CHEESEMAKER, VET)),
    "cheese-tests": ((CHEESEMAKER, OFFICE, VET), (CHEESEMAKER, VET)),
    "cheese-limits": ((VET, OFFICE), (VET,)),
    "limits": ((VET, OFFICE), (VET,)),
    "residues": ((CHEESEMAKER, OFFICE, VET), (CHEESEMAKER, VET)),
    "residue-limits": ((VET, OFFICE), (VET,)),
    "herd-statuses": ((VET, OFFICE), (VET,)),
    "cooling-rules": ((VET, OFFICE), (VET,)),
    "laboratory-settings": ((OFFICE, VET), (OFFICE, VET)),
    "withheld-milk": ((MILKER, STOCKMAN, VET), (VET,)),
    "wrong-cows": ((MILKER, CHEESEMAKER, VET), (MILKER, CHEESEMAKER, VET)),
    "hold-steps": ((VET, CHEESEMAKER, MILKER, OFFICE), (VET, CHEESEMAKER)),
    "inhibitor-tests": ((VET, CHEESEMAKER), (VET,)),
    "milk-figures": ((OFFICE, VET, OWNER), (OFFICE, VET)),
    "holds": ((VET, CHEESEMAKER), (VET, CHEESEMAKER)),
    "hold-decisions": ((VET, CHEESEMAKER, OWNER), (VET, CHEESEMAKER, OWNER)),
    "trays": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "skimmings": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "kept-over": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "recipes": ((CHEESEMAKER, VET), (CHEESEMAKER, VET)),
    "rennet-batches": ((CHEESEMAKER, OFFICE), (CHEESEMAKER,)),
    "rennet-steps": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "vat-marks": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "whey-added": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "plate-receipts": ((CHEESEMAKER, OFFICE), (CHEESEMAKER, OFFICE)),
    "plate-losses": ((CHEESEMAKER, OFFICE), (CHEESEMAKER, OFFICE)),
    "wheel-weights": ((CHEESEMAKER, STORE_HAND), (CHEESEMAKER,)),
    "starter-cans": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "vats": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "vat-fills": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "wheels": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "brine-rows": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "brine-stays": ((CHEESEMAKER, STORE_HAND), (CHEESEMAKER,)),
    "brine-outs": ((CHEESEMAKER, STORE_HAND), (CHEESEMAKER,)),
    "brine-readings": ((CHEESEMAKER, STORE_HAND), (CHEESEMAKER,)),
    "store-places": ((STORE_HAND, CHEESEMAKER), (CHEESEMAKER,)),
    "store-stays": ((STORE_HAND, CHEESEMAKER), (CHEESEMAKER,)),
    "store-gaps": ((STORE_HAND, CHEESEMAKER), (CHEESEMAKER,)),
    "store-rounds": ((STORE_HAND, CHEESEMAKER), (CHEESEMAKER,)),
    "store-findings": ((STORE_HAND, CHEESEMAKER), (STORE_HAND, CHEESEMAKER)),
    "room-readings": ((STORE_HAND, CHEESEMAKER), (CHEESEMAKER,)),
    "stock-counts": ((STORE_HAND, CHEESEMAKER), (CHEESEMAKER,)),
    "inspections": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "rind-marks": ((CHEESEMAKER, STORE_HAND), (CHEESEMAKER,)),
    "faults": ((CHEESEMAKER,), (CHEESEMAKER,)),
    "grade-rules": ((CHEESEMAKER, OFFICE), (CHEESEMAKER,)),
    "age-rules": ((CHEESEMAKER, OFFICE), (CHEESEMAKER,)),
    "products": ((OFFICE,), (OFFICE,)),
    "orders": ((OFFICE,), (OFFICE,)),
    "order-lines": ((OFFICE,), (OFFICE,)),
    "pallets": ((OFFICE, STORE_HAND, CHEESEMAKER), (OFFICE, CHEESEMAKER)),
    "picks": ((OFFICE, STORE_HAND, CHEESEMAKER), (OFFICE, STORE_HAND, CHEESEMAKER)),
    "shipments": ((OFFICE, STORE_HAND, CHEESEMAKER), (OFFICE, CHEESEMAKER)),
    "wheel-returns": ((OFFICE, STORE_HAND, CHEESEMAKER), (OFFICE, CHEESEMAKER)),
    "wheel-discards": ((CHEESEMAKER, VET), (CHEESEMAKER,)),
    "dispatches": ((OFFICE, STORE_HAND, CHEESEMAKER), (OFFICE, CHEESEMAKER)),
    "outside-findings": ((VET, CHEESEMAKER, OFFICE, OWNER), (VET, CHEESEMAKER)),
    "outside-steps": ((VET, CHEESEMAKER, OFFICE, OWNER), (VET, CHEESEMAKER)),
    "recalls": ((VET, CHEESEMAKER, OWNER), (VET, CHEESEMAKER, OWNER)),
    "recall-steps": ((VET, CHEESEMAKER, OFFICE, STORE_HAND, OWNER), (VET, CHEESEMAKER, OWNER)),
    "products-out": ((OFFICE, CHEESEMAKER), (OFFICE, CHEESEMAKER)),
}
ACTIONS: dict[str, tuple[str, ...]] = {
    N_("read"): READERS,
    N_("take in files"): (OFFICE, VET),
    N_("answer clock questions"): (VET,),
    N_("hang up walls"): (VET,),
    N_("look after the service"): (OWNER, OFFICE, VET),
    N_("look after people"): (OFFICE, OWNER),
    N_("hand out phones"): (VET, OFFICE),
    N_("send in results"): (OFFICE, VET, LABORATORY),
    **{f"write:{slug}": writers for slug, (writers, _) in WRITERS.items()},
    **{f"strike:{slug}": strikers for slug, (_, strikers) in WRITERS.items()},
}

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


def system_user() -> User:
    """The user for entries the program writes by itself; nobody can sign in as it."""
    user, _ = User.objects.get_or_create(
        username=SYSTEM_USER, defaults={"is_active": False, "password": make_password(None)}
    )
    return user


def roles_of(user: User | AnonymousUser) -> tuple[str, ...]:
    """The roles of a user, in the order of ROLES; empty for somebody not signed in."""
    if not user.is_authenticated or not user.is_active:
        return ()
    # Asked many times while one page is made; the user object lives as long as the request.
    known: tuple[str, ...] | None = getattr(user, "_roles", None)
    if known is None:
        read = getattr(user, "role_names", None)
        names = set(user.groups.values_list("name", flat=True) if read is None else read)
        known = tuple(role for role in ROLES if role in names)
        user._roles = known  # type: ignore[attr-defined]
    return known


def may(user: User | AnonymousUser, action: str) -> bool:
    """Whether a user may do an action. Raises KeyError for an action nobody has listed."""
    allowed = ACTIONS[action]
    # A program's token may do a part of what its person may (access/tokens.py).
    scopes = getattr(user, "scopes", None)
    if scopes is not None and action not in scopes:
        return False
    return any(role in allowed for role in roles_of(user))


def may_strike(user: User | AnonymousUser, slug: str, entry: Entry) -> bool:
    """Whether a user may strike or re-enter this entry.

    Besides the roles listed, whoever wrote it may take it back for half an hour, if their role
    still writes the kind.
    """
    if may(user, f"strike:{slug}"):
        return True
    mine = entry.by_id == user.pk and timezone.now() - entry.received_at <= OWN_MISTAKE
    return mine and bool(ACTIONS[f"strike:{slug}"]) and may(user, f"write:{slug}")


def check_may_strike(user: User | AnonymousUser, slug: str, entry: Entry) -> None:
    """Raise PermissionDenied with the sentence when a user may not strike this entry."""
    if not may_strike(user, slug, entry):
        raise PermissionDenied(refusal(user, f"strike:{slug}"))


def refusal(user: User | AnonymousUser, action: str) -> str:
    """The sentence for somebody who may not: their role, the act, and who may."""
    roles = roles_of(user)
    if not roles:
        return _(NO_ROLE)
    verb, _rest, slug = action.partition(":")
    act = f"{_(verb)} {_(slug.replace('-', ' '))}".strip() if slug else _(verb)
    scopes = getattr(user, "scopes", None)
    if scopes is not None and action not in scopes:
        return _(TOKEN_MAY_NOT).format(action=act, scopes=", ".join(sorted(scopes)))
    allowed = ", ".join(map(_, ACTIONS[action])) or _("nobody")
    return _(MAY_NOT).format(roles=", ".join(map(_, roles)), action=act, allowed=allowed)


def check_may(user: User | AnonymousUser, action: str) -> None:
    """Raise PermissionDenied with the sentence when a user may not do an action."""
    if not may(user, action):
        raise PermissionDenied(refusal(user, action))


def action_required(action: str) -> Callable[[View[P]], View[P]]:
    """Decorator of a page: sign in first, then have a role that may do ``action``."""

    def decorate(view: View[P]) -> View[P]:
        @wraps(view)
        def guarded(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            check_may(request.user, action)
            return view(request, *args, **kwargs)

        guard: View[P] = guarded  # type: ignore[assignment]
        return guard

    return decorate


def people() -> QuerySet[User]:
    """Everybody, as a page wants to know them: with the names of their roles, and

    ``has_codes``: whether one-time codes are set up; ``book_begun``: whether the book holds
    anything yet, see config/begun.py.
    """
    names = ArrayAgg("groups__name", filter=Q(groups__isnull=False), default=Value([]))
    codes = Exists(OneTimeCode.objects.filter(user=OuterRef("pk")))
    return User.objects.annotate(role_names=names, has_codes=codes, book_begun=begun())


# Asked for every page.
person = OneRow(lambda key: people().filter(pk=key), -1)


class UserWithRoles(ModelBackend):
    """Reads who is signed in together with their roles: one statement less on every page."""

    def get_user(self, user_id: Any) -> User | None:
        """The user of a session, None when there is none or they may not sign in any more."""
        found = person.by(int(user_id))
        return found if found is not None and self.user_can_authenticate(found) else None


class MayDo(BasePermission):
    """DRF permission: the view says by ``action_word()`` which action this request is.

    A view without it may be read by every role; a write without it is refused, so that none is
    ever left open by forgetting.
    """

    message: Any = NO_ROLE

    def has_permission(self, request: Request, view: Any) -> bool:
        if not request.user.is_authenticated:
            return False
        if hasattr(view, "action_word"):
            action = view.action_word()
        elif request.method in SAFE_METHODS:
            action = "read"
        else:
            return False
        self.message = refusal(request.user, action)
        return may(request.user, action)
