"""The udder board in words: the answer first, what it is judged by beside it."""

from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from django.utils.dateformat import format as in_shape
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.language import in_readers_form
from config.line_charts import LineChart, Point
from config.templatetags.sheet import amount
from herd.udder import Movement, Rules, Share
from herd.udder_board import Board
from herd.udder_clinical import Clinical, Quarter
from herd.udder_herd import HerdNow, TankNow

NO_RECORDING = N_("No recording in the last thirteen months: nothing can be said of the cells.")
TOO_OLD = N_("THE LIST IS {age} DAYS OLD. Above {limit} days it is no ground to decide on.")
CELLS = N_("thousand per ml")


def day_words(day: date) -> str:
    """A day for reading, "29 May 2026", in the reader's form."""
    return in_shape(day, _("j M Y"))


def exact(value: Decimal) -> str:
    """A number without trailing zeros."""
    return in_readers_form(f"{value.normalize():f}")


def plain(value: Decimal | None, places: int = 0) -> str:
    """A number with so many places; "–" for None."""
    if value is None:
        return "–"
    return in_readers_form(f"{value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP):,f}")


def percent(share: Share) -> str:
    """ "97 of 1,210: 8.0 %"; "none of none" has no per cent."""
    if share.percent is None:
        return _("none to tell of")
    return _("{part} of {whole}: {percent} %").format(
        part=amount(share.part), whole=amount(share.whole), percent=plain(share.percent, 1)
    )


def recording_words(herd: HerdNow) -> str:
    """Which recording the lists are made from, and how old it is."""
    latest = herd.latest
    if latest is None:
        return _(NO_RECORDING)
    days = _("today")
    if herd.age:
        days = ngettext("{count} day old", "{count} days old", herd.age).format(count=herd.age)
    counted = herd.moved.high.whole
    return _(
        "Recording of {last}, {days}: {counted} of {count} cows in milk have a valid count."
    ).format(
        last=day_words(latest.last),
        days=days,
        counted=amount(counted),
        count=amount(len(herd.cows)),
    )


def age_caution(herd: HerdNow) -> str:
    """That the list is too old, in capitals; "" while it is not."""
    if herd.latest is None or not herd.is_old:
        return ""
    return _(TOO_OLD).format(age=herd.age, limit=exact(herd.rules.too_old))


def tank_words(tank: TankNow) -> str:
    """A tank's computed count and what it is made from."""
    if tank.cells is None:
        return _("Tank {line}: not known, none of its cows has kg and cells").format(line=tank.line)
    said = _("Tank {line}: {cells} thousand per ml computed").format(
        line=tank.line, cells=plain(tank.cells)
    )
    made = _("{count} cows, {kg} kg a day").format(count=amount(len(tank.cows)), kg=plain(tank.kg))
    lacking = (
        _(", {count} cows without a recording").format(count=amount(len(tank.missing)))
        if tank.missing
        else ""
    )
    older = (
        _(", {older} by an older recording").format(older=amount(tank.older)) if tank.older else ""
    )
    return f"{said} ({made}{lacking}{older})"


def new_words(share: Share, rules: Rules) -> str:
    """The new rate and what it means."""
    if share.percent is None:
        return _("No cow was low last time with a test at both: no new rate")
    verdict = _("good")
    if share.above(rules.new_contagious):
        verdict = _("the pattern of a germ that goes from cow to cow")
    elif share.above(rules.new_good):
        verdict = _("more than good")
    return _(
        "{percent} % new: {part} of {whole} that were low. That is {verdict} (good up to "
        "{new_good} %, from cow to cow above {new_contagious} %)"
    ).format(
        percent=plain(share.percent, 1),
        part=amount(share.part),
        whole=amount(share.whole),
        verdict=verdict,
        new_good=exact(rules.new_good),
        new_contagious=exact(rules.new_contagious),
    )


def high_words(share: Share, rules: Rules) -> str:
    """The share of cows at the limit or above."""
    if share.percent is None:
        return _("No cow has a valid count")
    verdict = _("good") if share.percent < rules.share_good else _("too many")
    return _(
        "{percent} % at {high} thousand per ml or above: {part} of {whole}, {verdict} "
        "(good below {share_good} %)"
    ).format(
        percent=plain(share.percent, 1),
        high=exact(rules.high),
        part=amount(share.part),
        whole=amount(share.whole),
        verdict=verdict,
        share_good=exact(rules.share_good),
    )


def score_words(share: Share, rules: Rules) -> str:
    """How many cows are at the score to aim for."""
    if share.percent is None:
        return percent(share)
    verdict = _("good") if share.above(rules.score_share) else _("too few")
    return _("{share}, {verdict} (good above {score_share} %)").format(
        share=percent(share), verdict=verdict, score_share=exact(rules.score_share)
    )


def dry_words(share: Share, rules: Rules) -> str:
    """The cure over the dry period."""
    if share.percent is None:
        return _("No cow came out of her dry period that went into it high")
    verdict = _("good") if share.percent >= rules.cure_good else _("too few")
    return _(
        "{percent} % of {whole} cows that went dry high came back low: {verdict} (good "
        "from {cure_good} %)"
    ).format(
        percent=plain(share.percent, 1),
        whole=amount(share.whole),
        verdict=verdict,
        cure_good=exact(rules.cure_good),
    )


def movement_rows(herd: HerdNow) -> list[tuple[str, str, int]]:
    """Word, meaning and number of cows in milk for each movement."""
    high = exact(herd.rules.high)
    means = {
        Movement.NEW: _("below {high} last time, now {high} or above").format(high=high),
        Movement.CHRONIC: _("{high} or above both times").format(high=high),
        Movement.CURED: _("{high} or above last time, now below").format(high=high),
        Movement.LOW: _("below {high} both times").format(high=high),
    }
    return [(_(word.value), means[word], herd.moved.counts[word]) for word in Movement]


def clinical_words(found: Clinical, rules: Rules) -> str:
    """This quarter's rate against the rule and last year."""
    rate = found.now.rate
    if rate is None:
        return _("No cow-days in this quarter: no rate")
    last = found.year_ago.rate
    before = (
        _(", {last} in the same quarter last year").format(last=plain(last, 1))
        if last is not None
        else ""
    )
    act = _("ACT") if found.act(rules) else _("no need to act")
    return _(
        "{rate} cases per 100 cow-years this quarter: {act} (above {clinical_act}, or "
        "above last year{before})"
    ).format(rate=plain(rate, 1), act=act, clinical_act=exact(rules.clinical_act), before=before)


def origin_words(found: Clinical, rules: Rules) -> list[str]:
    """Where the cases of twelve months come from."""
    said = []
    rows = (
        (_("Dry period"), found.dry_origin, _("cows calved"), rules.dry_origin_act),
        (_("Lactation"), found.milk_origin, "cow-years", rules.milk_origin_act),
    )
    for name, rate, of, act in rows:
        if rate is None:
            said.append(_("{name}: no {of} to tell of").format(name=name, of=of))
            continue
        word = _("ACT") if rate > act else _("no need to act")
        said.append(
            _("{name}: {rate} in 12 {of}, {word} (above {act})").format(
                name=name, rate=plain(rate, 1), of=of, word=word, act=exact(act)
            )
        )
    if found.unknown_origin:
        said.append(
            _("{unknown_origin} cases of cows without a calving in the book").format(
                unknown_origin=amount(found.unknown_origin)
            )
        )
    return said


def fresh_words(board: Board) -> list[str]:
    """What fat to protein says of the group of fresh cows."""
    rules, signal = board.rules, board.fresh.signal
    if signal.ketosis.percent is None:
        return [_("No fresh cow of the last recording has fat and protein.")]
    act = (
        _("ACT on the group") if signal.act_on_ketosis(rules) else _("no need to act on the group")
    )
    last = signal.last_ketosis.percent
    before = _("; {last} % the time before").format(last=plain(last, 1)) if last is not None else ""
    said = [
        _(
            "{ketosis} of the fresh cows above {ratio_ketosis}: {act} (above {ratio_act} %, or "
            "{ratio_times} times the time before{before})"
        ).format(
            ketosis=percent(signal.ketosis),
            ratio_ketosis=exact(rules.ratio_ketosis),
            act=act,
            ratio_act=exact(rules.ratio_act),
            ratio_times=exact(rules.ratio_times),
            before=before,
        ),
    ]
    rumen = (
        _("LOOK at the rumen and the change of grass") if signal.act_on_rumen(rules) else _("fine")
    )
    said.append(
        _("{rumen} below {ratio_rumen}: {rumen2} (above {ratio_rumen_act} %)").format(
            rumen=percent(signal.rumen),
            ratio_rumen=exact(rules.ratio_rumen),
            rumen2=rumen,
            ratio_rumen_act=exact(rules.ratio_rumen_act),
        )
    )
    ketosis = board.fresh.ketosis
    if ketosis.percent is not None:
        word = _("ACT") if ketosis.above(rules.ketones_act) else _("no need to act")
        said.append(
            _(
                "Tested at their side since the recording, in ketosis: {ketosis}, {word} "
                "(above {ketones_act} %)"
            ).format(ketosis=percent(ketosis), word=word, ketones_act=exact(rules.ketones_act))
        )
    return said


def high_chart(herd: HerdNow) -> LineChart:
    """Share of tests at the limit or above, by recording."""
    rules = herd.rules
    points = [
        Point(
            in_shape(one.last, _("j M y")),
            one.percent,
            _("{high} of {tests}").format(high=amount(one.high), tests=amount(one.tests)),
        )
        for one in herd.recordings
    ]
    latest = (
        _("The last is {points} %.").format(points=in_readers_form(f"{points[-1].value:.1f}"))
        if points
        else _("There is none.")
    )
    return LineChart(
        key="high",
        title=_("Cows with a high count, by recording"),
        description=_("Per cent of all tests at {high} thousand per ml or above. {latest}").format(
            high=exact(rules.high), latest=latest
        ),
        unit="%",
        points=points,
        limit=float(rules.share_good),
        limit_words=_("good below {share_good} %").format(share_good=exact(rules.share_good)),
    )


def cases_words(quarter: Quarter) -> str:
    """How many cases, and whether the quarter still runs."""
    if quarter.running:
        return _("{cases} cases, so far").format(cases=amount(quarter.cases))
    return _("{cases} cases").format(cases=amount(quarter.cases))


def clinical_chart(found: Clinical, rules: Rules) -> LineChart:
    """Clinical cases per 100 cow-years, by quarter."""
    points = [
        Point(
            f"{quarter.year} Q{quarter.number}",
            float(quarter.rate or 0),
            cases_words(quarter),
        )
        for quarter in found.quarters
    ]
    return LineChart(
        key="clinical",
        title=_("Clinical mastitis, by quarter of the year"),
        description=_("Cases per 100 cow-years. {clinical_words}.").format(
            clinical_words=clinical_words(found, rules)
        ),
        unit=_("cases per 100 cow-years"),
        points=points,
        limit=float(rules.clinical_act),
        limit_words=_("act above {clinical_act}").format(clinical_act=exact(rules.clinical_act)),
    )
