"""The people of the demo estate, its holdings and its dated rules."""

from datetime import date, timedelta

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User

from config import entries
from config.entries import Stamp
from config.roles import ROLES
from feed.reference import load_reference as load_feed_rules
from herd.models import Holding
from herd.reference import load_reference as load_herd_rules
from milk.demo.book import entry, write
from milk.demo.estate import PASSWORD_HINT, Estate
from milk.models import HerdStatus, InhibitorTest
from milk.reference import load_reference as load_milk_limits

HOLDINGS = (
    ("Larkfold", "999-000-001", "XX 00001 EU", "the estate itself", ""),
    ("Larkfold dairy hall", "999-000-002", "XX 00002 EU", "9 Invented Lane, Larkfold", ""),
    ("Nether Marl farm", "999-000-017", "", "a neighbour who supplies milk in winter", ""),
    ("Saltbeck medicines", "", "", "1 Invented Lane, Saltbeck", ""),
    ("Ostler meal and hay", "", "", "2 Invented Lane, Ostler", ""),
    ("Brackwater cheese shop", "", "", "3 Invented Lane, Brackwater", "+00 555 0103"),
    ("Thornvale ripeners", "", "", "4 Invented Lane, Thornvale", "+00 555 0104"),
)


def make_people(estate: Estate) -> None:
    """One person a role, each signing in with the same word."""
    password = make_password(PASSWORD_HINT)
    for role in ROLES:
        user, _ = User.objects.get_or_create(
            username=role.replace(" ", "-"), defaults={"password": password, "last_name": role}
        )
        user.groups.set([Role.objects.get_or_create(name=role)[0]])
        estate.people[role] = user


def make_holdings(estate: Estate) -> None:
    start = estate.at(estate.first_day, "03:00")
    rows = [
        entry(
            Holding,
            estate.people["office"],
            start,
            name=name,
            number=number,
            approval=approval,
            address=address,
            phone=phone,
        )
        for name, number, approval, address, phone in HOLDINGS
    ]
    estate.holdings = {holding.name: holding for holding in write(rows)}


def make_rules(estate: Estate) -> None:
    """The dated rules every estate starts with."""
    stamp = Stamp.now(estate.people["vet"])
    load_herd_rules(stamp)
    load_feed_rules(stamp)
    load_milk_limits(stamp)
    make_methods(stamp)
    make_statuses(estate)


def make_statuses(estate: Estate) -> None:
    """The herd is officially free of both diseases, by papers that are invented."""
    since = Stamp.now(estate.people["vet"], estate.now - timedelta(days=400))
    for disease in HerdStatus.Disease:
        source = "letter of the authority, invented for the demo"
        entries.record(HerdStatus, stamp=since.again(), disease=disease, source=source)


def make_methods(stamp: Stamp) -> None:
    """Three methods of inhibitor test, with what they would cover."""
    for name, covers, minutes, confirms in METHODS:
        entries.record(
            InhibitorTest,
            stamp=stamp.again(),
            name=name,
            covers=covers,
            minutes=minutes,
            confirms=confirms,
            valid_from=date(2020, 1, 1),
            source="invented for the demo",
        )


METHODS = (
    ("quick strip", "an invented penicillin", 10, False),
    (
        "growth test",
        "an invented penicillin, an invented macrolide, an invented dry-cow antibiotic",
        165,
        False,
    ),
    (
        "chemical test",
        "an invented penicillin, an invented macrolide, an invented dry-cow antibiotic",
        None,
        True,
    ),
)
