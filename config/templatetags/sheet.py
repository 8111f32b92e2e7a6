"""Template tags of the day sheet: amounts with units, estate time, states, forms, navigation."""

from datetime import datetime
from decimal import Decimal
from html import escape
from typing import Any
from uuid import uuid4

from django import template
from django.contrib.auth.models import AnonymousUser
from django.template import Context
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.html import format_html, json_script
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import day_and_clock, estate_zone
from config.language import in_readers_form, language_now
from config.offline_pages import kept_as, too_old_after
from config.phone_words import WORDS
from config.undo import offered

register = template.Library()

# The word of each state and the one form it has (see day-sheet.css).
STATES = {
    "tank": N_("TANK"),
    "not": N_("NOT"),
    "unsure": N_("NOT SURE"),
    "held": N_("held"),
    "first": N_("feed first"),
    "past": N_("past: discard"),
    "fresh": N_("fresh"),
    "eaten": N_("eaten"),
    "discarded": N_("discarded"),
    "open": N_("open"),
    "closed": N_("closed"),
    "used": N_("used up"),
    "over": N_("over limit"),
    "released": N_("released"),
    "dumped": N_("dumped"),
    "pour": N_("pour"),
    "waste": N_("waste"),
    "brine": N_("in brine"),
    "store": N_("in store"),
    "dispatched": N_("dispatched"),
    "struck": N_("struck"),
}
# Label and the first of these names that exists; an app adds its page by having the name.
SHEETS = (
    (N_("Today"), ("home",)),
    (N_("Herd"), ("herd:index", "herd:withheld")),
    (N_("Grass"), ("feed:index", "feed:board")),
    (N_("Milk"), ("milk:index", "milk:lots")),
    (N_("Wheels"), ("milk:wheels",)),
    (N_("Entries"), ("kind-index",)),
)


@register.filter
def amount(value: Any) -> str:
    """A number for reading, in the reader's form: no needless zeros; "" for None."""
    if value is None or value == "":
        return ""
    number = value if isinstance(value, Decimal) else Decimal(str(value))
    text = f"{number:,f}"
    return in_readers_form(text.rstrip("0").rstrip(".") if "." in text else text)


@register.filter
def kg(value: Any) -> SafeString | str:
    """A mass with its unit."""
    if value is None or value == "":
        return ""
    figures = escape(amount(round(Decimal(str(value)), 1)))
    return SafeString(f'{figures}\u00a0<span class="unit">kg</span>')


@register.filter
def hours(value: Any) -> str:
    """A length of time in hours and minutes: "38 min", "6 h 10 min"; takes a timedelta or hours."""
    if value is None or value == "":
        return ""
    minutes = round(value.total_seconds() / 60 if hasattr(value, "total_seconds") else value * 60)
    sign, minutes = ("-" if minutes < 0 else ""), abs(minutes)
    whole, rest = divmod(minutes, 60)
    if not whole:
        return f"{sign}{rest}\u00a0min"
    return f"{sign}{whole}\u00a0h {rest}\u00a0min" if rest else f"{sign}{whole}\u00a0h"


@register.filter
def moment(value: datetime | None) -> str:
    """A moment on the estate's clock, "Sat 6 Jun, 16:30"; with the year when it is not this one."""
    if value is None:
        return ""
    zone = estate_zone()
    local = value.astimezone(zone)
    is_other_year = local.year != timezone.now().astimezone(zone).year
    return day_and_clock(local, year=is_other_year) + twice(local)


def twice(local: datetime) -> str:
    """Which of the two, when the clock showed this time twice in autumn; else ""."""
    other = local.replace(fold=1 - local.fold)
    if other.utcoffset() == local.utcoffset():
        return ""
    return " " + (_("(second)") if local.fold else _("(first)"))


@register.filter
def offset(minutes: int) -> str:
    """Minutes ahead of UTC as "+02:00"."""
    sign = "-" if minutes < 0 else "+"
    whole, rest = divmod(abs(minutes), 60)
    return f"{sign}{whole:02d}:{rest:02d}"


@register.filter
def iso(value: datetime | None) -> str:
    """A moment for ``<time datetime>``."""
    return value.isoformat() if value else ""


@register.filter
def state_word(state: str) -> str:
    """The word of a state."""
    return _(STATES.get(state, state)) if state else ""


@register.filter
def said(words: str) -> str:
    """Words that are marked where they stand (a role, a name on a sheet), in the reader's."""
    return _(words) if words else ""


@register.simple_tag
def phone_words() -> SafeString:
    """What the scripts of a page say, for the page to carry; nothing in the source's language."""
    if language_now().startswith("en"):
        return SafeString("")
    return json_script({words: _(words) for words in WORDS}, "words")


@register.simple_tag
def once_field() -> SafeString:
    """The hidden number that makes a form count once; every form with method post has it."""
    return format_html('<input type="hidden" name="once" value="{}">', uuid4())


@register.inclusion_tag("_undo.html", takes_context=True)
def undo_offer(context: Context) -> dict[str, Any]:
    """What this person has just written and may take back by one touch."""
    request = context.get("request")
    found = offered(request, timezone.now()) if request is not None else None
    return {"undo": found, "csrf_token": context.get("csrf_token")}


@register.simple_tag(takes_context=True)
def phone_data(context: Context) -> SafeString:
    """What a page tells its phone: as of when it is, on which clock, whose it is, whether kept."""
    request, now = context.get("request"), timezone.now()
    user: Any = getattr(request, "user", None) or AnonymousUser()
    match = getattr(request, "resolver_match", None)
    page = kept_as(match.view_name, match.kwargs.get("slug", ""), user) if match else None
    return format_html(
        'data-at="{}" data-zone="{}" data-user="{}"{}',
        now.astimezone(estate_zone()).isoformat(timespec="seconds"),
        estate_zone().key,
        user.pk or "",
        SafeString(" data-keeps") if page and user.is_authenticated else "",
    )


@register.simple_tag
def old_after() -> int:
    """After how many minutes a list that says TANK or NOT, or pour, is too old on a phone."""
    return too_old_after(timezone.now())


@register.simple_tag
def address(name: str, *args: Any) -> str:
    """The address of a page by name; "" when no app has it (as ``{% url %}``, but quiet)."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""


@register.inclusion_tag("_nav.html", takes_context=True)
def sheets(context: Context) -> dict[str, Any]:
    """The navigation: the sheets that exist, the one we are on marked."""
    request = context.get("request")
    here = request.path if request else ""
    items: list[dict[str, Any]] = []
    for label, names in SHEETS:
        url = next((found for found in map(address, names) if found), "")
        if url:
            items.append({"label": _(label), "url": url})
    # The closest sheet is where we are: "Wheels" on /milk/wheels/…, "Milk" elsewhere on /milk/.
    best = max(items, key=lambda item: closeness(here, item["url"]), default=None)
    for item in items:
        item["here"] = item is best and closeness(here, item["url"]) > 0
    return {"items": items}


def closeness(here: str, url: str) -> int:
    """How much of our address a sheet's address, or the root of its pages, covers; 0 for none."""
    if url == "/":
        return int(here == url or here.startswith("/today/"))
    return max(len(part) for part in ("", url, root_of(url)) if here.startswith(part))


def root_of(url: str) -> str:
    """The part of a sheet's address that all its pages share ("/herd/" of "/herd/withheld/")."""
    return url if url.count("/") > 3 else "/" + url.strip("/").split("/")[0] + "/"
