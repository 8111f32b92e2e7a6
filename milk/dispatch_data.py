"""What must stand on the paper of food of animal origin that is sent, and what is missing of it.

Commission Implementing Regulation (EU) 931/2011, Article 3(1): (a) an accurate description, (b) the
volume or quantity, (c) name and address of who sent it, (d) of the owner if that is another, (e) of
who receives it, (f) of the owner if that is another, (g) a reference of the lot, (h) the date of
dispatch. Pure.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from config.saying import _


@dataclass(frozen=True)
class Party:
    """A food business: its name and address."""

    name: str
    address: str


@dataclass(frozen=True, kw_only=True)
class DispatchData:
    """The eight items. ``owner_before`` and ``owner_after``: None when it is who sends, receives.

    ``lots``: the reference of each wheel's vat.
    """

    description: str
    pieces: int
    kg: Decimal
    sender: Party
    owner_before: Party | None
    receiver: Party
    owner_after: Party | None
    lots: tuple[str, ...]
    sent_on: date | None


def lacking(data: DispatchData) -> list[str]:
    """In words, every item that is missing, in the order of the law; empty when all is there."""
    said = []
    if not data.description.strip():
        said.append(_("(a) a description of the food"))
    if data.pieces <= 0 or data.kg <= 0:
        said.append(_("(b) the quantity: wheels and kg"))
    said += of_party(data.sender, "(c)", _("who sends it"))
    if data.owner_before is not None:
        said += of_party(data.owner_before, "(d)", _("the owner before"))
    said += of_party(data.receiver, "(e)", _("who receives it"))
    if data.owner_after is not None:
        said += of_party(data.owner_after, "(f)", _("the owner after"))
    if not data.lots or any(not lot.strip() for lot in data.lots):
        said.append(_("(g) the lot of every wheel"))
    if data.sent_on is None:
        said.append(_("(h) the date of dispatch"))
    return said


def of_party(party: Party, letter: str, whose: str) -> Iterable[str]:
    """What is missing of a name and address."""
    if not party.name.strip():
        yield _("{letter} the name of {whose}").format(letter=letter, whose=whose)
    if not party.address.strip():
        yield _("{letter} the address of {whose} ({party})").format(
            letter=letter, whose=whose, party=party.name
        )
