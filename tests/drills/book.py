"""A small book for the drills: who writes, and what there is to write about."""

from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from importlib import import_module

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from django.utils import timezone

from config.access.models import MachineToken
from config.roles import ACTIONS, UserWithRoles
from herd.models import PeriodRule
from herd.reference import rules
from milk.reference import load_reference
from tests.factories import feed, herd, milk

DRY_COWS, MILKED_COWS = 60, 60
FIELDS, LOTS = 4, 6
# The milking whose milk late doses are about, and the course before it.
MILKED_AGO = timedelta(days=3)


@dataclass(frozen=True)
class Person:
    """Who writes, and how the service knows them: a token for the API, a session for pages."""

    name: str
    number: int
    token: str
    session: str


@dataclass
class Book:
    """The numbers of what there is, for writers, who know nothing but addresses."""

    people: dict[str, Person] = field(default_factory=dict)
    courses: list[str] = field(default_factory=list)
    milked: list[str] = field(default_factory=list)
    dry: list[str] = field(default_factory=list)
    medicine: str = ""
    fields: list[str] = field(default_factory=list)
    lots: list[str] = field(default_factory=list)
    groups: list[str] = field(default_factory=list)
    tanks: list[str] = field(default_factory=list)
    milked_at: str = ""
    lots_at: str = ""


def person(name: str, roles: tuple[str, ...]) -> Person:
    """Somebody with some roles, a token and a session."""
    user = User.objects.create(username=name)
    user.groups.set([Role.objects.get_or_create(name=role)[0] for role in roles])
    session = import_module(settings.SESSION_ENGINE).SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = f"{UserWithRoles.__module__}.{UserWithRoles.__qualname__}"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.save()
    _, token = MachineToken.objects.create(user, name="a drill", scopes=["read", *ACTIONS])
    return Person(name, user.pk, token, str(session.session_key))


def furnish(people: dict[str, tuple[str, ...]]) -> Book:
    """Write the book: ``people`` by name with their roles."""
    book = Book(people={name: person(name, roles) for name, roles in people.items()})
    now = timezone.now()
    load_reference(milk.stamp_at(now - timedelta(days=400)))
    stamp = herd.make_stamp(at=now - timedelta(days=400))
    PeriodRule.objects.bulk_create(PeriodRule(**{**stamp.columns(), **rule}) for rule in rules())
    cows_and_courses(book)
    lots_with_milk(book)
    feed.make_window_rules()
    book.fields = [str(feed.make_field(f"Drill Field {n}").uuid) for n in range(FIELDS)]
    book.groups = [str(herd.make_group(70 + n, milked=False).uuid) for n in range(4)]
    book.tanks = [str(milk.make_tank(name=f"D{n}").uuid) for n in range(4)]
    return book


def cows_and_courses(book: Book) -> None:
    """Dry cows with a course each, for dose after dose."""
    now = timezone.now()
    medicine = herd.make_medicine(84, name="Tube Drill")
    book.medicine = str(medicine.uuid)
    group = herd.make_group(60, milked=False)
    for _ in range(DRY_COWS):
        cow = herd.make_animal()
        herd.put_in_group(cow, group)
        course = herd.make_course(
            cow, medicine=medicine, doses=14, happened_at=now - timedelta(days=60)
        )
        book.courses.append(str(course.uuid))
        book.dry.append(str(cow.uuid))


def lots_with_milk(book: Book) -> None:
    """Milk of cows that will turn out to have been treated, and lots for results."""
    at = timezone.now() - MILKED_AGO
    group, cows = herd.make_group(61, milked=False), []
    for _ in range(MILKED_COWS):
        cow = herd.make_animal()
        herd.put_in_group(cow, group)
        cows.append(cow)
        book.milked.append(str(cow.uuid))
    milk.make_milking(
        at=at, group=group, tank=milk.make_tank(), cows=[(cow, Decimal(12)) for cow in cows]
    )
    book.milked_at, book.lots_at = at.isoformat(), at.isoformat()
    for _ in range(LOTS):
        milking = milk.make_milking(at=at, tank=milk.make_tank())
        book.lots.append(str(milking.parts.get().lot.uuid))
