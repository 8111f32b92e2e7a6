"""What the search in the head of every page finds of the herd."""

from django.utils.translation import gettext_noop as N_

from config.find import Found, register
from herd.models import Animal, Group

MOST = 10


def animals(text: str) -> Found:
    """Animals by farm number, ear tag or a replaced one."""
    for animal in Animal.objects.called(text)[:MOST]:
        yield f"{animal} ({animal.ear_tag})", animal.get_absolute_url()


def groups(text: str) -> Found:
    """A group by its number, alone or as "group 5"."""
    number = text.lower().removeprefix("group").strip()
    if number.isdecimal() and len(number) <= 4:
        for group in Group.objects.standing().filter(number=int(number)):
            yield str(group), group.get_absolute_url()


register(N_("Animals"), animals)
register(N_("Groups"), groups)
