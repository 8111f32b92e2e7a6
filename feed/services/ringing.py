"""Rings within a shift's number: raised, bundled, brought up to date, and closed when gone."""

from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Q
from django.urls import reverse

from config.days import estate_zone
from config.models import Notice
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER, FEED_HAND, VET
from feed.figures import clock_of
from feed.rings import Ring, bundle_words, choose, shift_start

# What is told of a notice at most (Notice.what).
ROOM = 400

SHIFTS = ("shift_1", "shift_2", "shift_3")
SHIFT_FIGURES = ("rings_a_shift", *SHIFTS)
Figures = dict[str, Decimal]
BUNDLES = "grass:more:"
# Rings of the feed by the shares; they are within a shift's number too.
DRIFT = "feed-shares:drift"
# In which order things are told when there are more than a shift's rings: what can hurt first.
WORDS = (
    "past",
    "forbidden",
    "stack",
    "no-rule",
    "early",
    "heating",
    "where",
    "hour",
    "first",
    "left",
)


def minutes(figures: Figures, name: str) -> timedelta:
    return timedelta(minutes=float(figures[name]))


def days(figures: Figures, name: str) -> timedelta:
    return timedelta(days=float(figures[name]))


def word_of(ring: Ring) -> str:
    """Which of the words a ring is about."""
    return ring.cause.split(":")[1]


def shift_of(at: datetime, figures: Figures) -> datetime:
    """When the shift of a moment began, by the estate's figures."""
    return shift_start(at, estate_zone(), [clock_of(figures[name]) for name in SHIFTS])


def rang_alone(role: str, since: datetime) -> int:
    """How often something of the feed rang alone for a role since a moment."""
    mine = Notice.objects.filter(role=role, raised_at__gte=since)
    ours = Q(cause__startswith="grass:") | Q(cause=DRIFT)
    return mine.filter(ours).exclude(cause__startswith=BUNDLES).count()


def ring_all(wanted: list[Ring], at: datetime, figures: Figures) -> None:
    """Raise the rings of each role within its shift's number, and close those that are gone."""
    start, most = shift_of(at, figures), int(figures["rings_a_shift"])
    bundle = f"{BUNDLES}{start.isoformat()}"
    still = {ring.cause for ring in wanted}
    for role in (FEED_HAND, VET, CHEESEMAKER):
        open_now = Notice.objects.filter(closed_at=None, role=role, cause__startswith="grass:")
        ringing = set(open_now.values_list("cause", flat=True))
        mine = sorted(
            (ring for ring in wanted if ring.role == role),
            key=lambda ring: WORDS.index(word_of(ring)),
        )
        choice = choose(mine, ringing=ringing, rung=rang_alone(role, start), most=most)
        for ring in choice.alone:
            raise_one(ring, at, is_new=ring.cause not in ringing)
        if choice.bundled:
            raise_bundle(bundle, choice.bundled, at)
            still.add(bundle)
        elif bundle in ringing:
            open_now.filter(cause=bundle).update(closed_at=at)
    close_gone("grass:", still, at)


def raise_one(ring: Ring, at: datetime, *, is_new: bool) -> None:
    """Raise one notice, or bring its words up to date."""
    notice = raise_notice(
        cause=ring.cause,
        role=ring.role,
        what=ring.what[:1].upper() + ring.what[1:],
        where=ring.where,
        otherwise=ring.otherwise,
        url=ring.url,
        until=ring.until,
    )
    if is_new:
        Notice.objects.filter(pk=notice.pk).update(raised_at=at)


def raise_bundle(cause: str, rings: list[Ring], at: datetime) -> None:
    """Raise the shift's bundle; one that was closed in the shift opens again without a ring."""
    role, until = rings[0].role, [ring.until for ring in rings if ring.until]
    before = Notice.objects.filter(cause=cause, role=role)
    before.exclude(closed_at=None).update(closed_at=None)
    one = rings[0] if len(rings) == 1 else None
    bundle = Ring(
        cause=cause,
        role=role,
        what=bundle_words(rings, ROOM),
        where=one.where if one else "",
        otherwise=one.otherwise if one else "",
        url=one.url if one else reverse("feed:board"),
        until=min(until, default=None),
    )
    raise_one(bundle, at, is_new=not before.exists())
