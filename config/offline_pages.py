"""Which pages a phone keeps, so that they open and their forms save without a network.

To add a page: a line in PAGES. Its forms that count once (``{% once_field %}``) are then kept on
the phone until they are written; a form or button that must have an answer at once says
``data-online``.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib.auth.models import AnonymousUser, User
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.kinds import kind_named
from config.roles import may

# The heading of an answer that a phone may keep: whose it is, and whether it is a form.
KEEP = "Keep-On-Phone"


@dataclass(frozen=True)
class Page:
    """A page that a phone keeps, by the name of its address.

    ``act``: the action of config/roles.py its form needs; "" for a list. ``query``: what to ask for
    beforehand. ``ahead``: fetched before anybody opens it. ``any_query``: its form is the same
    whatever was asked for, and what was asked for is filled in on the phone.
    """

    name: str
    act: str = ""
    query: str = ""
    ahead: bool = False
    any_query: bool = False


def form(name: str, slug: str, query: str = "") -> Page:
    """A page with the form of a kind, the same whatever is asked for."""
    return Page(name, f"write:{slug}", query, ahead=True, any_query=True)


PAGES = (
    Page("home", ahead=True),
    Page("queue", ahead=True),
    Page("kind-strike"),
    # The feed hand.
    form("feed:cut", "forage-batches"),
    form("feed:cut", "forage-batches", "?field="),
    form("feed:feed", "feedings"),
    Page("feed:board", "read", ahead=True),
    Page("feed:batch"),
    Page("feed:heap", "write:heap-checks"),
    Page("feed:weigh", "write:forage-batches"),
    # The barn.
    Page("herd:withheld", "read", ahead=True),
    Page("herd:walk", "read", ahead=True),
    Page("herd:list"),
    Page("herd:animal"),
    Page("herd:dose", "write:doses"),
    Page("herd:move", "write:group-stays", ahead=True),
    Page("herd:medicine-book"),
    # The parlour and the dairy hall.
    form("milk:milk", "milkings"),
    Page("milk:milkings", "write:milkings"),
    Page("milk:lots"),
    Page("milk:vats", "write:vat-fills", ahead=True),
    Page("milk:vat"),
    Page("milk:vat-fill", "write:vat-fills"),
    Page("milk:vat-mark", "write:vat-marks"),
    Page("milk:vat-wheels", "write:wheels"),
    Page("milk:wheels", "write:wheels"),
    # The store and the brine.
    Page("milk:rounds", "write:store-rounds", ahead=True),
    Page("milk:aisle", "write:store-rounds"),
    Page("milk:round-done", "write:store-rounds"),
    Page("milk:tap-aisle", "write:inspections"),
    Page("milk:found", "write:store-stays"),
    Page("milk:lay", "write:store-stays"),
    Page("milk:brine", "write:brine-stays", ahead=True),
    Page("milk:brine-in", "write:brine-stays"),
    Page("milk:brine-out", "write:brine-outs"),
)
# Kinds whose plain form is kept too, for whoever writes them.
KINDS = (
    "doses",
    "health-events",
    "group-stays",
    "refusals",
    "discards",
    "heap-checks",
    "vat-marks",
    "wheels",
    "inspections",
    "store-rounds",
)
# What an inspector may ask for while the server is away: fetched when somebody asks for it.
PAPERS = (
    (N_("Who is NOT for the tank, now"), "herd:withheld", 0, ""),
    (N_("Medicine book of 12 months, first lines"), "herd:medicine-book", 365, ""),
    (N_("Medicine book of 12 months, all of it"), "herd:medicine-book", 365, "pdf"),
    (N_("Milk lots of 60 days"), "milk:lots", 60, ""),
)


# Who knows the estate's rule of how old a list on a phone may be; an app sets it.
_rules: list[Callable[[datetime], int | None]] = []
# Without a rule nothing that is not of this minute is sure.
WITHOUT_RULE = 1


def register_rule(rule: Callable[[datetime], int | None]) -> None:
    """Have an app asked after how many minutes a list on a phone is too old; None: no rule."""
    _rules.append(rule)


def too_old_after(at: datetime) -> int:
    """After how many minutes a list on a phone is too old to go by: the strictest rule."""
    found = [minutes for minutes in (rule(at) for rule in _rules) if minutes is not None]
    return min(found, default=WITHOUT_RULE)


def address_of(name: str, **kwargs: Any) -> str:
    """The address of a page; "" when no app has it, or when it needs to know of which thing."""
    try:
        return reverse(name, kwargs=kwargs)
    except NoReverseMatch:
        return ""


def kept_as(name: str, slug: str, user: User | AnonymousUser) -> Page | None:
    """How a page is kept for this user, by its address' name and the kind in it; None: not."""
    plain = (form(name, slug),) if name == "kind-new" and slug in KINDS else ()
    found: Page | None = next((page for page in (*plain, *PAGES) if page.name == name), None)
    if found is None or (found.act and not may(user, found.act)):
        return None
    return found


def ahead_for(user: User | AnonymousUser) -> list[str]:
    """The addresses a phone fetches before this user opens them."""
    pages = [
        address_of(page.name) + page.query
        for page in PAGES
        if page.ahead and address_of(page.name) and (not page.act or may(user, page.act))
    ]
    kinds = [
        reverse("kind-new", args=[slug]) for slug in KINDS if known(slug) and writes(user, slug)
    ]
    return pages + kinds


def known(slug: str) -> bool:
    """Whether there is a kind of this name."""
    try:
        return bool(kind_named(slug))
    except KeyError:
        return False


def writes(user: User | AnonymousUser, slug: str) -> bool:
    return may(user, f"write:{slug}")


def papers_for(user: User | AnonymousUser, today: date) -> list[dict[str, str]]:
    """Titles and addresses of what can be kept on a phone for the day the server is away."""
    if not may(user, "read"):
        return []
    papers = []
    for title, name, days, ending in PAPERS:
        query = {"since": (today - timedelta(days=days)).isoformat()} if days else {}
        query |= {"as": ending} if ending else {}
        address = address_of(name)
        if address:
            url = f"{address}?{urlencode(query)}" if query else address
            papers.append({"title": _(title), "url": url})
    return papers
