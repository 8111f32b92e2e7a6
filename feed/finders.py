"""What the search finds of the feed: loads by number or field, fields by name."""

from collections.abc import Iterator

from django.urls import reverse
from django.utils.translation import gettext_noop as N_

from config import find
from feed.models import Field, ForageBatch

MOST = 8
# PostgreSQL's largest int4, the type of a load's number.
LARGEST = 2**31 - 1


def loads(text: str) -> Iterator[tuple[str, str]]:
    """The load of that number ("load 12", "12"), or the newest loads of a field."""
    rows = ForageBatch.objects.standing().select_related("field").order_by("-happened_at")
    word = text.lower().removeprefix("load").strip()
    if word.isdecimal() and word.isascii():
        rows = rows.filter(pk=int(word)) if int(word) <= LARGEST else rows.none()
    else:
        rows = rows.filter(field__name__icontains=text)
    for batch in rows[:MOST]:
        yield str(batch), batch.get_absolute_url()


def fields(text: str) -> Iterator[tuple[str, str]]:
    """Standing fields whose name holds the text."""
    rows = Field.objects.standing().filter(name__icontains=text).order_by("name")
    for field in rows[:MOST]:
        yield str(field), reverse("kind-detail", args=["fields", field.uuid])


find.register(N_("Loads"), loads)
find.register(N_("Fields"), fields)
