"""The milk that stands in the hall: every tray and tank, whether it may be poured, what is in it.

The word first: POUR or DO NOT POUR, with the reason. A few statements for all of them.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import OuterRef, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.once_a_page import once_a_page
from milk.answers import DO_NOT_POUR, HELD, POUR, USED, Answer, answers_about, spans_said
from milk.below import LONGEST_IN_THE_TRAY
from milk.composition import blended
from milk.figures import figures_on
from milk.in_tanks import Content, contents, last_lots, there_in
from milk.limits import plain
from milk.models import LotDraw, MilkFigure, MilkLot, Skimming, Tank, Tray, VatFill
from milk.models.limits import What
from milk.services.skimming import last_looks, why_aside
from milk.vat import Milk, casein_of

FREE = (POUR, USED)
SET_ASIDE = N_("Set aside: {why}.")
NO_LOT = N_("The book knows no lot in it: the milking or wash before it is not written.")
NOTHING = N_("Nothing is left in it.")
OK = N_("Not held; no withheld milk is known in it.")
NOT_TESTED = N_("no inhibitor test written")
TESTED = N_("inhibitor {verdict}")


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A tray or tank with milk in it: the word, why, and of what it is.

    ``lots``: (answer, kg) of each lot in it, as it was filled. ``fat`` and ``casein`` in per cent;
    None: not measured. ``cream``: kg taken off a tray.
    """

    source: Tank | Tray
    left: Decimal
    since: datetime
    lots: list[tuple[Answer, Decimal]] = field(default_factory=list)
    look: Skimming | None = None
    cream: Decimal = Decimal(0)
    fat: Decimal | None = None
    casein: Decimal | None = None
    cream_to_take: Decimal | None = None
    fat_wanted: Decimal | None = None

    @property
    def tray(self) -> Tray | None:
        return self.source if isinstance(self.source, Tray) else None

    @property
    def name(self) -> str:
        """What people call it."""
        if isinstance(self.source, Tray):
            return _("tray {number}").format(number=self.source.number)
        return str(self.source)

    @property
    def against(self) -> str:
        """Why it may not be poured; empty when it may."""
        if self.look is not None and self.look.set_aside:
            return _(SET_ASIDE).format(why=why_aside(self.look) or _("no reason written"))
        for answer, _rest in self.lots:
            if answer.word not in FREE:
                return _("Lot {lot} {word}: {sentence}").format(
                    lot=answer.lot, word=_(answer.word), sentence=answer.sentence
                )
        return "" if self.lots else _(NO_LOT)

    @property
    def word(self) -> str:
        """POUR or DO NOT POUR."""
        return (DO_NOT_POUR if self.against else POUR).upper()

    @property
    def form(self) -> str:
        """The form of the word on a page."""
        return "held" if self.against else "pour"

    @property
    def is_held(self) -> bool:
        return any(answer.word == HELD for answer, _ in self.lots)

    @property
    def why(self) -> str:
        return self.against or _(OK)

    @property
    def tests(self) -> str:
        """What is known of its tests, in words."""
        said = []
        for answer, _rest in self.lots:
            found = answer.latest.get(What.INHIBITOR)
            words = (
                _(TESTED).format(verdict=found.get_verdict_display()) if found else _(NOT_TESTED)
            )
            if answer.is_over:
                words += _(", a result over its limit")
            said.append(words)
        return "; ".join(dict.fromkeys(said))

    @property
    def oldest(self) -> datetime:
        """When its oldest milk came."""
        return min((answer.lot.opened_at for answer, _ in self.lots), default=self.since)

    def age(self, at: datetime) -> timedelta:
        """How old its oldest milk is."""
        return at - self.oldest

    @property
    def milk(self) -> Milk | None:
        """Its kg, fat and casein; None when one of them is not known."""
        if self.fat is None or self.casein is None or self.left <= 0:
            return None
        return Milk(self.left, self.fat, self.casein)

    @property
    def said(self) -> str:
        """Its contents in words, as known: "fat 2.05 %, casein 2.74 %"."""
        fat = (
            _("fat {fat} %").format(fat=plain(self.fat, 2))
            if self.fat is not None
            else _("fat not measured")
        )
        if self.casein is None:
            return _("{fat}, casein not known").format(fat=fat)
        return _("{fat}, casein {casein} %").format(fat=fat, casein=plain(self.casein, 2))


@once_a_page
def hall_milk(at: datetime) -> list[Standing]:
    """Every tray with milk, by number, then every receiving and hold tank with milk."""
    trays, tanks, share = trays_with_milk(at), last_lots(at), casein_share(at)
    draws = draws_into(tuple(tray.pk for tray, _ in trays))
    answers = answers_about(lots_standing(at), at)
    there = {lot.pk: answers[lot.pk] for lot in there_in(tanks, at)}
    return [
        *tray_rows(trays, draws, answers, share),
        *tanks_standing(contents(tanks, there), share),
    ]


def lots_standing(at: datetime) -> list[MilkLot]:
    """The lots in trays and tanks; one that stands in both is asked about once."""
    draws = draws_into(tuple(tray.pk for tray, _ in trays_with_milk(at)))
    lots = {lot.pk: lot for lot in [*lots_drawn(draws), *there_in(last_lots(at), at)]}
    return list(lots.values())


def names_said(rows: Sequence[Standing]) -> str:
    """Trays and tanks in words, runs of trays taken together: "trays 12 to 22, tank B"."""
    trays = [one.tray.number for one in rows if one.tray]
    said = ngettext("tray {numbers}", "trays {numbers}", len(trays)).format(
        numbers=spans_said(trays)
    )
    return ", ".join([*([said] if trays else []), *(one.name for one in rows if not one.tray)])


def casein_share(at: datetime) -> Decimal | None:
    """Casein in per cent of protein, by the row in force."""
    figure = figures_on(at.date()).get(MilkFigure.What.CASEIN_SHARE)
    return figure.value if figure else None


def trays_standing(at: datetime) -> list[Standing]:
    """Trays filled lately in which milk is left."""
    trays = trays_with_milk(at)
    draws = draws_into(tuple(tray.pk for tray, _ in trays))
    return tray_rows(trays, draws, answers_about(lots_drawn(draws), at), casein_share(at))


@once_a_page
def trays_with_milk(at: datetime) -> list[tuple[Tray, Decimal]]:
    """Trays filled lately with the kg that are left in them, by number."""
    lately = Tray.objects.standing().filter(
        happened_at__gt=at - LONGEST_IN_THE_TRAY, happened_at__lte=at
    )
    fills = VatFill.objects.standing().filter(tray=OuterRef("pk")).values("tray")
    poured = Subquery(fills.annotate(kg=Sum("kg")).values("kg"))
    trays = lately.annotate(poured=Coalesce(poured, Decimal(0))).select_related("tank")
    left = [
        (tray, tray.kg - (tray.cream_kg or 0) - tray.poured)
        for tray in trays.order_by("number", "happened_at")
    ]
    return [(tray, kg) for tray, kg in left if kg > 0]


@once_a_page
def draws_into(trays: tuple[int, ...]) -> list[LotDraw]:
    """What was drawn from lots into trays (keys), in the order of time, with the lots."""
    draws = LotDraw.objects.filter(tray_id__in=trays).order_by("at", "id")
    return list(draws.select_related("lot__tank", "lot__delivery__holding"))


def lots_drawn(draws: Collection[LotDraw]) -> list[MilkLot]:
    """The lots of draws, each once."""
    return list({draw.lot_id: draw.lot for draw in draws}.values())


def tray_rows(
    trays: Sequence[tuple[Tray, Decimal]],
    draws: Sequence[LotDraw],
    answers: Mapping[int, Answer],
    share: Decimal | None,
) -> list[Standing]:
    """A row for each tray, with what is known of the lots in it (``answers`` by their key)."""
    lots: dict[int, list[tuple[Answer, Decimal]]] = defaultdict(list)
    for draw in draws:
        lots[draw.tray_id or 0].append((answers[draw.lot_id], draw.kg))
    looks = last_looks([tray.pk for tray, _ in trays])
    return [tray_row(tray, left, lots[tray.pk], looks.get(tray.pk), share) for tray, left in trays]


def tray_row(
    tray: Tray,
    left: Decimal,
    lots: Sequence[tuple[Answer, Decimal]],
    look: Skimming | None,
    share: Decimal | None,
) -> Standing:
    cream = tray.cream_kg or Decimal(0)
    fat = look.fat if look and look.fat is not None else None
    if fat is None and not cream:
        fat = content_of(lots, What.FAT)
    return Standing(
        source=tray,
        left=left,
        since=tray.happened_at,
        lots=list(lots),
        look=look,
        cream=cream,
        fat=fat,
        casein=casein_in(lots, share),
    )


def tanks_standing(found: Iterable[Content], share: Decimal | None) -> list[Standing]:
    """Receiving and hold tanks with milk in them."""
    rows = []
    for content in found:
        if content.tank.use == Tank.Use.WASTE or content.lot is None or content.left <= 0:
            continue
        assert content.answer is not None
        lots = [(content.answer, content.left)]
        rows.append(
            Standing(
                source=content.tank,
                left=content.left,
                since=content.lot.opened_at,
                lots=lots,
                fat=content_of(lots, What.FAT),
                casein=casein_in(lots, share),
            )
        )
    return rows


def content_of(lots: Sequence[tuple[Answer, Decimal]], what: str) -> Decimal | None:
    """A content of milks put together, by the latest test of each; None when one has none."""
    parts = []
    for answer, kg in lots:
        test = answer.latest.get(what)
        if test is None or test.standard is None:
            return None
        parts.append((kg, test.standard))
    return blended(parts) if parts and all(kg > 0 for kg, _ in parts) else None


def casein_in(lots: Sequence[tuple[Answer, Decimal]], share: Decimal | None) -> Decimal | None:
    """Casein of milks put together: as measured, else the row's share of their protein."""
    measured = content_of(lots, What.CASEIN)
    if measured is not None or share is None:
        return measured
    return casein_of(None, content_of(lots, What.PROTEIN), share)
