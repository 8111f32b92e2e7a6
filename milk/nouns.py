"""Nouns of the milk beside their numbers: "1 lot", "22 vats", "no vats"."""

from collections.abc import Callable

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.templatetags.sheet import amount

NOUNS: dict[str, Callable[[int], str]] = {
    "aisle": lambda n: ngettext("{count} aisle", "{count} aisles", n),
    "animal": lambda n: ngettext("{count} animal", "{count} animals", n),
    "cow": lambda n: ngettext("{count} cow", "{count} cows", n),
    "discard": lambda n: ngettext("{count} discard", "{count} discards", n),
    "feed lot": lambda n: ngettext("{count} feed lot", "{count} feed lots", n),
    "group": lambda n: ngettext("{count} group", "{count} groups", n),
    "hold": lambda n: ngettext("{count} hold", "{count} holds", n),
    "load": lambda n: ngettext("{count} load", "{count} loads", n),
    "lot": lambda n: ngettext("{count} lot", "{count} lots", n),
    "milking": lambda n: ngettext("{count} milking", "{count} milkings", n),
    "more lot": lambda n: ngettext("{count} more lot", "{count} more lots", n),
    "more vat": lambda n: ngettext("{count} more vat", "{count} more vats", n),
    "more wheel": lambda n: ngettext("{count} more wheel", "{count} more wheels", n),
    "place": lambda n: ngettext("{count} place", "{count} places", n),
    "tray": lambda n: ngettext("{count} tray", "{count} trays", n),
    "vat": lambda n: ngettext("{count} vat", "{count} vats", n),
    "wheel": lambda n: ngettext("{count} wheel", "{count} wheels", n),
}
NONE = {
    "animal": N_("no animals"),
    "cow": N_("no cows"),
    "feed lot": N_("no feed lots"),
    "group": N_("no groups"),
    "load": N_("no loads"),
    "lot": N_("no lots"),
    "milking": N_("no milkings"),
    "more lot": N_("no more lots"),
    "more vat": N_("no more vats"),
    "more wheel": N_("no more wheels"),
    "tray": N_("no trays"),
    "vat": N_("no vats"),
    "wheel": N_("no wheels"),
}


def counted(number: int, noun: str) -> str:
    """So many of something: "1 lot", "1,200 wheels", "0 vats"."""
    return NOUNS[noun](number).format(count=amount(number))


def many(number: int, noun: str) -> str:
    """As ``counted``, and "no vats" for none."""
    return counted(number, noun) if number else _(NONE[noun])
