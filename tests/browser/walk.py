"""Every page of the site by the name of its address, with something of the book to show.

An address that names a thing needs a line in ``OF`` or ``GIVEN``; without one, and without a role
that may open it, the test says so.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from django.apps import apps
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from config.day_sheet import SHEETS
from config.days import local_day
from config.errors import Conflict
from config.kinds import all_kinds
from config.roles import ROLES
from feed.models import ForageBatch
from milk.models import StorePlace, Wheel
from tests.cast import user_in
from tests.factories.frame import make_any

# Whose things an address with a uuid names, by the name of the address.
OF = {
    "herd:unknown-cow": "herd.UnknownCow",
    "herd:animal": "herd.Animal",
    "herd:treat": "herd.Animal",
    "herd:dry-off": "herd.Animal",
    "herd:animal-udder": "herd.Animal",
    "herd:dose": "herd.Course",
    "herd:give": "herd.Course",
    "feed:batch": "feed.ForageBatch",
    "feed:weigh": "feed.ForageBatch",
    "feed:heap": "feed.ForageBatch",
    "feed:where": "feed.ForageBatch",
    "feed:hour": "feed.ForageBatch",
    "feed:field": "feed.Field",
    "milk:lot": "milk.MilkLot",
    "milk:lot-cows": "milk.MilkLot",
    "milk:hold": "milk.Hold",
    "milk:late": "herd.Course",
    "milk:vat": "milk.Vat",
    "milk:cheese": "milk.Vat",
    "milk:vat-fill": "milk.Vat",
    "milk:vat-wheels": "milk.Vat",
    "milk:vat-mark": "milk.Vat",
    "milk:vat-swap": "milk.Vat",
    "milk:wheel": "milk.Wheel",
    "milk:complaint": "milk.Wheel",
    "milk:wheel-trace": "milk.Wheel",
    "milk:order": "milk.Order",
    "milk:order-pick": "milk.Order",
    "milk:order-pallet": "milk.Order",
    "milk:order-send": "milk.Order",
    "milk:shipment": "milk.Shipment",
    "milk:pallet": "milk.Pallet",
    "milk:recall": "milk.Recall",
    "milk:finding": "milk.OutsideFinding",
}
# Pages that are like another of their kind: a few of them stand for all.
FEW = {"kind-list": 2, "kind-detail": 3, "kind-strike": 1, "kind-reenter": 3}
# What is no page: a form's target, a file, an answer for scripts, or the way out.
OUTSIDE = {
    "account-pin-end",
    "account-session-end",
    "account-sessions-end",
    "account-token-end",
    "clock-right",
    "first-day-rules",
    "health",
    "herd:order",
    "login",
    "login-code",
    "login-pin",
    "logout",
    "metrics",
    "milk:recall-act",
    "person-pin-end",
    "person-session-end",
    "person-sessions-end",
    "person-switch",
    "person-token-end",
    "phone",
    # A link that opens once; looked at in tests/browser/test_shared_phone.py.
    "phone-bind",
    "phone-withdraw",
    # Open to anybody, and looked at where labels are.
    "public-wheel",
    "ready",
    "set-language",
    "undo",
    "upload-answer",
    "upload-detail",
    "upload-file",
    "upload-here",
    "upload-look",
    "upload-take",
    # A screen that hangs, without anybody signed in.
    "herd:wall-hang",
    "herd:wall-hung",
    "herd:wall-withdraw",
    "worker",
}


@dataclass
class Walk:
    """The pages by who opens them, and the addresses nobody could open."""

    pages: list[tuple[str, str, str]] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)


def names_of(
    patterns: Any = None, space: str = "", above: tuple[str, ...] = ()
) -> Iterator[tuple[str, list[str]]]:
    """The name of every address outside the API, and what it must be told."""
    for entry in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(entry, URLResolver):
            if not str(entry.pattern).startswith("api/"):
                inner = f"{space}{entry.namespace}:" if entry.namespace else space
                told = (*above, *entry.pattern.converters)
                yield from names_of(entry.url_patterns, inner, told)
        elif isinstance(entry, URLPattern) and entry.name:
            yield f"{space}{entry.name}", [*above, *entry.pattern.converters]


def newest(label: str) -> Any:
    """The newest standing row of a model; a guessed one when the book has none.

    None where a guess does not go together with what is in the book.
    """
    model: Any = apps.get_model(label)
    rows = model.objects.all()
    if any(column.name == "struck_at" for column in model._meta.fields):
        rows = rows.filter(struck_at=None)
    found = rows.order_by("-pk").first()
    if found is not None:
        return found
    try:
        return make_any(model)
    except (Conflict, ValidationError):
        return None


def given() -> dict[str, list[str]]:
    """Addresses that name more than one thing, or a thing by what people call it."""
    plate = Wheel.objects.filter(struck_at=None).order_by("-pk").first()
    batch = ForageBatch.objects.order_by("-pk").first()
    assert plate is not None
    assert batch is not None
    aisle = StorePlace.objects.filter(struck_at=None).first()
    recall, recording = newest("milk.Recall"), newest("herd.Recording")
    assert aisle is not None
    return {
        "today-of": [f"/today/{role.replace(' ', '-')}/" for role in SHEETS],
        "herd:list": ["/herd/walk/doses/"],
        "herd:wall": ["/herd/wall/5/"],
        "herd:move": ["/herd/move/", "/herd/move/?from=5"],
        "feed:cut": ["/feed/cuts/new/", "/feed/cuts/new/?field="],
        "feed:paper": ["/feed/papers/no-fermented-feed/"],
        "milk:trace": [],
        "milk:trace-back": [f"/milk/trace/back/wheel/{plate.plate}/"],
        "milk:trace-forward": [f"/milk/trace/forward/batch/{batch.uuid}/"],
        "milk:after-feed": [f"/milk/after-feed/load/{batch.uuid}/"],
        "milk:plate": [f"/milk/plates/{plate.plate}/"],
        "milk:tap-aisle": [f"/milk/tap/aisle/{aisle.room}/{aisle.aisle}/?which=every"],
        "milk:aisle": [f"/milk/store/{aisle.room}/{aisle.aisle}/"],
        "milk:recall-paper": [f"/milk/recalls/{recall.uuid}/papers/notice/"],
        "herd:recording": [f"/herd/udder/recordings/{local_day(recording.happened_at)}/"],
        "find": ["/find/?q=1042"],
        "person-code": [f"/people/{user_in('milker').pk}/code/"],
        "person": [f"/people/{user_in('milker').pk}/"],
    }


def addresses(given: dict[str, list[str]]) -> Iterator[tuple[str, str]]:
    """Name and path of every page but the kinds' own; ``given``: paths a test knows."""
    for name, told in names_of():
        if name in given:
            yield from ((name, path) for path in given[name])
        elif not told:
            yield name, reverse(name)
        elif name in OF:
            found = newest(OF[name])
            yield name, reverse(name, args=[found.uuid]) if found else ""
        elif not name.startswith("kind-"):
            yield name, ""


def kinds_addresses() -> Iterator[tuple[str, str]]:
    """The form of every kind, and the other pages of a few."""
    for number, kind in enumerate(all_kinds()):
        yield "kind-new", reverse("kind-new", args=[kind.slug])
        label = f"{kind.app}.{kind.model.__name__}"
        for name, most in FEW.items():
            # Not the first ones only, which are much alike.
            if number % 7 == 2 and number // 7 < most:
                found = None if name == "kind-list" else newest(label)
                if found is not None or name == "kind-list":
                    own = [found.uuid] if found else []
                    yield name, reverse(name, args=[kind.slug, *own])


def walk(given: dict[str, list[str]], outside: set[str]) -> Walk:
    """Open every page as the first role that may; ``outside``: names of what is no page."""
    found = Walk()
    clients = {role: Client() for role in ROLES}
    for role, client in clients.items():
        client.force_login(user_in(role))
    for name, path in (*addresses(given), *kinds_addresses()):
        if name not in outside:
            open_one(found, clients, name, path)
    return found


def open_one(found: Walk, clients: dict[str, Client], name: str, path: str) -> None:
    told = []
    for role, client in clients.items() if path else ():
        answer = client.get(path)
        if answer.status_code == 200:
            if answer.headers["Content-Type"].startswith("text/html"):
                found.pages.append((name, role, path))
            return
        # A form's target: it is sent to, or leads on.
        if answer.status_code in (302, 405):
            return
        told.append(answer.status_code)
    found.broken.append(f"{name} {path}: {told or 'tell the walk of which thing (OF)'}")
