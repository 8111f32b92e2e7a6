"""What a trace can start from, by what people call it or by its number."""

import uuid as uuids
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local
from config.entries import Entry
from config.errors import Refused
from feed.models import FeedLot, Field, ForageBatch
from herd.models import Animal, Course, Group
from milk.models import MilkLot, Vat, Wheel

NO_SUCH_KIND = N_("A trace {way} cannot start from “{kind}”. Expected one of: {kinds}.")
NO_SUCH_THING = N_("There is no {name} “{text}”. Expected {expected}, or its id.")
WAS_STRUCK = N_(
    "{name} was struck {when} ({reason}); what was struck never counted, so there is nothing to "
    "trace. {instead}"
)
LARGEST_KEY = 2**31 - 1


class NothingToTrace(Refused):
    """What is asked about is not in the book, or was struck."""

    status = 404


@dataclass(frozen=True)
class StartKind:
    """A kind of thing that a trace can start from."""

    model: Any
    expected: str
    find: Callable[[str], Any]


def by_key(model: Any) -> Callable[[str], Any]:
    """Look up by the number shown on pages ("31")."""

    def find(text: str) -> Any:
        return model.objects.get(pk=int(text))

    return find


def feed_lot(text: str) -> Any:
    """A feed lot by its number, its batch number or its name."""
    if text.isdigit() and int(text) <= LARGEST_KEY:
        found = FeedLot.objects.filter(pk=int(text)).first()
        if found:
            return found
    named = FeedLot.objects.standing()
    return named.filter(batch_number__iexact=text).first() or named.get(name__iexact=text)


def field(text: str) -> Field:
    found: Field = Field.objects.standing().get(name__iexact=text)
    return found


START_KINDS = {
    "wheel": StartKind(Wheel, N_("a plate number such as 0004711"), Wheel.find),
    "vat": StartKind(Vat, N_("a day and vat number such as 2026-06-09/17"), Vat.find),
    "lot": StartKind(MilkLot, N_("the code of a milk lot"), MilkLot.find),
    "animal": StartKind(Animal, N_("a farm number or an ear tag"), Animal.find),
    "course": StartKind(Course, N_("the number of a course"), by_key(Course)),
    "batch": StartKind(ForageBatch, N_("the number of a load"), ForageBatch.find),
    "feed-lot": StartKind(FeedLot, N_("the number, batch number or name of a feed lot"), feed_lot),
    "field": StartKind(Field, N_("the name of a field"), field),
    "group": StartKind(Group, N_("the number of a group"), Group.find),
}
WAYS = {
    "back": ("wheel", "vat", "lot"),
    "forward": ("animal", "course", "batch", "feed-lot", "field", "group", "lot"),
}
KINDS = tuple(START_KINDS)


def find(way: str, kind: str, what: Any) -> Any:
    """The thing a trace starts from: itself, or by what people call it or its uuid.

    Raises NothingToTrace with words when the way has no such kind, or the book no such thing.
    """
    if kind not in WAYS[way]:
        raise NothingToTrace(
            _(NO_SUCH_KIND).format(way=way, kind=str(kind)[:40], kinds=", ".join(WAYS[way]))
        )
    start = START_KINDS[kind]
    found = what if isinstance(what, start.model) else looked_up(start, str(what))
    if isinstance(found, Entry) and found.is_struck:
        raise NothingToTrace(struck_words(found))
    return found


def looked_up(start: StartKind, text: str) -> Any:
    """One thing by its uuid or by what people call it."""
    text = text.replace("\x00", "").strip()
    try:
        number = uuids.UUID(text)
    except ValueError:
        number = None
    try:
        if number is not None:
            return start.model.objects.get(uuid=number)
        if text.isdigit() and int(text) > LARGEST_KEY and start.model not in (Animal, Wheel):
            raise ValueError(text)
        return start.find(text)
    except (ObjectDoesNotExist, ValidationError, ValueError, OverflowError) as error:
        name = start.model._meta.verbose_name
        if "Two animals" in str(error):
            raise NothingToTrace(str(error)) from error
        raise NothingToTrace(
            _(NO_SUCH_THING).format(name=name, text=text[:60], expected=_(start.expected))
        ) from error


def struck_words(entry: Entry) -> str:
    """Why a struck entry has no trace, and what to ask instead."""
    assert entry.struck_at is not None
    instead = type(entry)._default_manager.filter(replaces=entry, struck_at=None).first()
    return _(WAS_STRUCK).format(
        name=capfirst(str(entry)),
        when=local(entry.struck_at),
        reason=entry.get_struck_reason_display(),
        instead=_("Ask for {instead} instead.").format(instead=instead)
        if instead
        else _("Nothing replaces it."),
    )


def name_of(kind: str, thing: Any) -> str:
    """What a person calls the thing ("wheel 0004711", "animal 1042", "milk lot …")."""
    said = str(thing)
    name = str(thing._meta.verbose_name)
    first = said.split(" ", 1)[0].rstrip(",")
    if kind in ("wheel", "vat", "group") or first == name:
        return said
    if kind == "batch":
        return said
    return f"{name} {said}"
