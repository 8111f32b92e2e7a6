"""The udder board in words: the answer first, what it is judged by beside it."""

from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from config.line_charts import LineChart, Point
from herd.udder import Movement, Rules, Share
from herd.udder_board import Board
from herd.udder_clinical import Clinical
from herd.udder_herd import HerdNow, TankNow
from herd.withdrawal import plain as exact

NO_RECORDING = "No recording in the last thirteen months: nothing can be said of the cells."
TOO_OLD = "THE LIST IS {age} DAYS OLD. Above {limit} days it is no ground to decide on."
CELLS = "thousand per ml"


def day_words(day: date) -> str:
    """A day for reading, "29 May 2026"."""
    return f"{day.day} {day:%b %Y}"


def plain(value: Decimal | None, places: int = 0) -> str:
    """A number with so many places; "–" for None."""
    if value is None:
        return "–"
    return f"{value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP):,f}"


def percent(share: Share) -> str:
    """ "97 of 1,210: 8.0 %"; "none of none" has no per cent."""
    if share.percent is None:
        return "none to tell of"
    return f"{share.part:,} of {share.whole:,}: {plain(share.percent, 1)} %"


def recording_words(herd: HerdNow) -> str:
    """Which recording the lists are made from, and how old it is."""
    latest = herd.latest
    if latest is None:
        return NO_RECORDING
    days = "today" if herd.age == 0 else f"{herd.age} day{'' if herd.age == 1 else 's'} old"
    counted = herd.moved.high.whole
    return (
        f"Recording of {day_words(latest.last)}, {days}: {counted:,} of {len(herd.cows):,} cows "
        f"in milk have a valid count."
    )


def age_caution(herd: HerdNow) -> str:
    """That the list is too old, in capitals; "" while it is not."""
    if herd.latest is None or not herd.is_old:
        return ""
    return TOO_OLD.format(age=herd.age, limit=exact(herd.rules.too_old))


def tank_words(tank: TankNow) -> str:
    """A tank's computed count and what it is made from."""
    if tank.cells is None:
        return f"Tank {tank.line}: not known, none of its cows has kg and cells"
    said = f"Tank {tank.line}: {plain(tank.cells)} {CELLS} computed"
    made = f"{len(tank.cows):,} cows, {plain(tank.kg)} kg a day"
    lacking = f", {len(tank.missing):,} cows without a recording" if tank.missing else ""
    older = f", {tank.older:,} by an older recording" if tank.older else ""
    return f"{said} ({made}{lacking}{older})"


def new_words(share: Share, rules: Rules) -> str:
    """The new rate and what it means."""
    if share.percent is None:
        return "No cow was low last time with a test at both: no new rate"
    verdict = "good"
    if share.above(rules.new_contagious):
        verdict = "the pattern of a germ that goes from cow to cow"
    elif share.above(rules.new_good):
        verdict = "more than good"
    return (
        f"{plain(share.percent, 1)} % new: {share.part:,} of {share.whole:,} that were low. "
        f"That is {verdict} (good up to {exact(rules.new_good)} %, from cow to cow above "
        f"{exact(rules.new_contagious)} %)"
    )


def high_words(share: Share, rules: Rules) -> str:
    """The share of cows at the limit or above."""
    if share.percent is None:
        return "No cow has a valid count"
    good = share.percent < rules.share_good
    return (
        f"{plain(share.percent, 1)} % at {exact(rules.high)} {CELLS} or above: "
        f"{share.part:,} of {share.whole:,}, {'good' if good else 'too many'} (good below "
        f"{exact(rules.share_good)} %)"
    )


def score_words(share: Share, rules: Rules) -> str:
    """How many cows are at the score to aim for."""
    if share.percent is None:
        return percent(share)
    verdict = "good" if share.above(rules.score_share) else "too few"
    return f"{percent(share)}, {verdict} (good above {exact(rules.score_share)} %)"


def dry_words(share: Share, rules: Rules) -> str:
    """The cure over the dry period."""
    if share.percent is None:
        return "No cow came out of her dry period that went into it high"
    good = share.percent >= rules.cure_good
    return (
        f"{plain(share.percent, 1)} % of {share.whole:,} cows that went dry high came back low: "
        f"{'good' if good else 'too few'} (good from {exact(rules.cure_good)} %)"
    )


def movement_rows(herd: HerdNow) -> list[tuple[str, str, int]]:
    """Word, meaning and number of cows in milk for each movement."""
    high = exact(herd.rules.high)
    means = {
        Movement.NEW: f"below {high} last time, now {high} or above",
        Movement.CHRONIC: f"{high} or above both times",
        Movement.CURED: f"{high} or above last time, now below",
        Movement.LOW: f"below {high} both times",
    }
    return [(word.value, means[word], herd.moved.counts[word]) for word in Movement]


def clinical_words(found: Clinical, rules: Rules) -> str:
    """This quarter's rate against the rule and last year."""
    rate = found.now.rate
    if rate is None:
        return "No cow-days in this quarter: no rate"
    last = found.year_ago.rate
    before = f", {plain(last, 1)} in the same quarter last year" if last is not None else ""
    act = "ACT" if found.act(rules) else "no need to act"
    return (
        f"{plain(rate, 1)} cases per 100 cow-years this quarter: {act} (above "
        f"{exact(rules.clinical_act)}, or above last year{before})"
    )


def origin_words(found: Clinical, rules: Rules) -> list[str]:
    """Where the cases of twelve months come from."""
    said = []
    rows = (
        ("Dry period", found.dry_origin, "cows calved", rules.dry_origin_act),
        ("Lactation", found.milk_origin, "cow-years", rules.milk_origin_act),
    )
    for name, rate, of, act in rows:
        if rate is None:
            said.append(f"{name}: no {of} to tell of")
            continue
        word = "ACT" if rate > act else "no need to act"
        said.append(f"{name}: {plain(rate, 1)} in 12 {of}, {word} (above {exact(act)})")
    if found.unknown_origin:
        said.append(f"{found.unknown_origin:,} cases of cows without a calving in the book")
    return said


def fresh_words(board: Board) -> list[str]:
    """What fat to protein says of the group of fresh cows."""
    rules, signal = board.rules, board.fresh.signal
    if signal.ketosis.percent is None:
        return ["No fresh cow of the last recording has fat and protein."]
    act = "ACT on the group" if signal.act_on_ketosis(rules) else "no need to act on the group"
    last = signal.last_ketosis.percent
    before = f"; {plain(last, 1)} % the time before" if last is not None else ""
    said = [
        f"{percent(signal.ketosis)} of the fresh cows above {exact(rules.ratio_ketosis)}: {act} "
        f"(above {exact(rules.ratio_act)} %, or {exact(rules.ratio_times)} times the time "
        f"before{before})",
    ]
    rumen = "LOOK at the rumen and the change of grass" if signal.act_on_rumen(rules) else "fine"
    said.append(
        f"{percent(signal.rumen)} below {exact(rules.ratio_rumen)}: {rumen} (above "
        f"{exact(rules.ratio_rumen_act)} %)"
    )
    ketosis = board.fresh.ketosis
    if ketosis.percent is not None:
        word = "ACT" if ketosis.above(rules.ketones_act) else "no need to act"
        said.append(
            f"Tested at their side since the recording, in ketosis: {percent(ketosis)}, {word} "
            f"(above {exact(rules.ketones_act)} %)"
        )
    return said


def high_chart(herd: HerdNow) -> LineChart:
    """Share of tests at the limit or above, by recording."""
    rules = herd.rules
    points = [
        Point(f"{one.last.day} {one.last:%b %y}", one.percent, f"{one.high:,} of {one.tests:,}")
        for one in herd.recordings
    ]
    latest = f"The last is {points[-1].value:.1f} %." if points else "There is none."
    return LineChart(
        key="high",
        title="Cows with a high count, by recording",
        description=f"Per cent of all tests at {exact(rules.high)} {CELLS} or above. {latest}",
        unit="%",
        points=points,
        limit=float(rules.share_good),
        limit_words=f"good below {exact(rules.share_good)} %",
    )


def clinical_chart(found: Clinical, rules: Rules) -> LineChart:
    """Clinical cases per 100 cow-years, by quarter."""
    points = [
        Point(
            f"{quarter.year} Q{quarter.number}",
            float(quarter.rate or 0),
            f"{quarter.cases:,} cases{', so far' if quarter.running else ''}",
        )
        for quarter in found.quarters
    ]
    return LineChart(
        key="clinical",
        title="Clinical mastitis, by quarter of the year",
        description=f"Cases per 100 cow-years. {clinical_words(found, rules)}.",
        unit="cases per 100 cow-years",
        points=points,
        limit=float(rules.clinical_act),
        limit_words=f"act above {exact(rules.clinical_act)}",
    )
