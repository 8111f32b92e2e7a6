"""The udder board, what if some cows went out, who moved, and the recordings."""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _

from config.days import local_day
from config.papers.handing import as_file, hand_over
from config.replica import may_lag
from config.roles import action_required
from herd import udder_words
from herd.forms.udder import AtForm, WhatIfForm
from herd.fresh_cows import GROUP_SIGNAL
from herd.lactation_chart import lactation_curve
from herd.models import Animal
from herd.recording_day import recording_day
from herd.tank_share import Order, compare, what_if
from herd.udder import CMT_CAUTION, CMT_MEANS
from herd.udder_board import Board, board
from herd.udder_herd import HerdNow, herd_now
from herd.udder_of_animal import udder_of
from herd.udder_papers import movement_paper, what_if_paper, what_if_words
from herd.udder_reads import recordings
from herd.udder_rules import udder_rules
from herd.withdrawal import plain as exact

# The page names so many; the files name all.
TO_TEST_SHOWN, MISSING_SHOWN = 20, 40
TWO_YEARS = timedelta(days=730)


@action_required("read")
def udder(request: HttpRequest) -> HttpResponse:
    """The board at a moment (``?at=``)."""
    form = AtForm(request.GET or None)
    if form.is_bound and not form.is_valid():
        return render(request, "herd/udder.html", {"form": form}, status=400)
    at = asked_at(form)
    found = board(at)
    return render(request, "herd/udder.html", {"form": form, "at": at, **sheet(found)})


def asked_at(form: AtForm) -> datetime:
    """The moment asked for, now without one."""
    at = form.cleaned_data.get("at") if form.is_bound else None
    return at or timezone.now()


def sheet(found: Board) -> dict[str, Any]:
    """The board as the page tells it, words ready to read."""
    herd, rules = found.herd, found.rules
    return {
        "board": found,
        "herd": herd,
        "rules": rules,
        "age_caution": udder_words.age_caution(herd),
        "recording": udder_words.recording_words(herd),
        "tanks": [(tank, udder_words.tank_words(tank)) for tank in herd.tanks],
        "target": exact(rules.target),
        "new": udder_words.new_words(herd.moved.new, rules),
        "high": udder_words.high_words(herd.moved.high, rules),
        "dry": udder_words.dry_words(herd.moved.dry_cured, rules),
        "beside": beside(herd),
        "movements": udder_words.movement_rows(herd),
        "high_chart": udder_words.high_chart(herd),
        "clinical": udder_words.clinical_words(found.clinical, rules),
        "origins": udder_words.origin_words(found.clinical, rules),
        "clinical_chart": udder_words.clinical_chart(found.clinical, rules),
        "fresh": udder_words.fresh_words(found),
        "to_test": found.fresh.to_test[:TO_TEST_SHOWN],
        "to_test_more": max(len(found.fresh.to_test) - TO_TEST_SHOWN, 0),
        "group_signal": _(GROUP_SIGNAL),
        "makers": makers(found),
        "cmt_means": [(_(grade), _(means)) for grade, means in CMT_MEANS],
        "cmt_caution": _(CMT_CAUTION),
    }


def makers(found: Board) -> list[dict[str, Any]]:
    """The cows with the largest shares, with their pages."""
    answers = found.herd.answers()
    return [
        {"cow": cow, "answer": answers[cow.cow], "line": line, "percent": percent}
        for cow, line, percent in found.makers
    ]


def beside(herd: HerdNow) -> list[tuple[str, str]]:
    """The lines that stand beside the movement in milk."""
    sums, rules = herd.moved, herd.rules
    return [
        (
            _("Linear score {score_aim} or less").format(score_aim=exact(rules.score_aim)),
            udder_words.score_words(herd.at_the_aim, rules),
        ),
        (_("Heifers, first test, high"), udder_words.percent(sums.heifers_high)),
        (_("Others without an earlier test, high"), udder_words.percent(sums.alone_high)),
        (_("New over the dry period"), udder_words.percent(sums.dry_new)),
        (
            _("Marked: gap above {gap} days, last valid test used").format(
                gap=exact(herd.rules.gap)
            ),
            f"{sums.marked:,}",
        ),
    ]


@action_required("read")
def udder_what_if(request: HttpRequest) -> HttpResponse:
    """What a tank would count without some cows (``?tank=&target=``), in both orders."""
    now = timezone.now()
    herd = herd_now(now)
    lines = [tank.line for tank in herd.tanks]
    start = {"target": herd.rules.target}
    form = WhatIfForm(request.GET if "tank" in request.GET else None, lines=lines, initial=start)
    context: dict[str, Any] = {
        "form": form,
        "at": now,
        "herd": herd,
        "age_caution": udder_words.age_caution(herd),
        "recording": udder_words.recording_words(herd),
    }
    if not form.is_bound:
        return render(request, "herd/udder_what_if.html", context)
    if not form.is_valid():
        return render(request, "herd/udder_what_if.html", context, status=400)
    tank, target = herd.tank(form.cleaned_data["tank"]), form.cleaned_data["target"]
    answers = [what_if(tank.cows, target, order) for order in Order]
    if request.GET.get("as") == "csv":
        paper = what_if_paper(herd, tank, target, answers, by=request.user, at=now)
        return as_file(paper, "csv")
    measured = form.cleaned_data["measured"]
    query = request.GET.copy()
    query["as"] = "csv"
    context |= {
        "tank": tank,
        "tank_words": udder_words.tank_words(tank),
        "target": target,
        "compared": measured and compare(tank.cells, measured, herd.rules.may_differ),
        "answers": [(answer, what_if_words(answer, target)) for answer in answers],
        "names": herd.answers(),
        "file": f"{request.path}?{query.urlencode()}",
    }
    return render(request, "herd/udder_what_if.html", context)


@action_required("read")
@may_lag
def udder_movement(request: HttpRequest) -> HttpResponse:
    """Every cow's step between her last two recordings, as a page or a file (``?as=``)."""
    now = timezone.now()
    paper = movement_paper(herd_now(now), by=request.user, at=now)
    return hand_over(request, paper, "herd/udder_movement.html", {"at": now})


@action_required("read")
@may_lag
def recording_days(request: HttpRequest) -> HttpResponse:
    """The herd's recordings of two years, newest first."""
    now = timezone.now()
    found = recordings(now, now - TWO_YEARS, udder_rules(local_day(now)))
    return render(request, "herd/recordings.html", {"at": now, "recordings": found[::-1]})


@action_required("read")
@may_lag
def recording(request: HttpRequest, day: str) -> HttpResponse:
    """One recording: what came in, what was changed, who is missing, what looks odd."""
    now = timezone.now()
    try:
        found = recording_day(date.fromisoformat(day), now)
    except ValueError as error:
        raise Http404(day) from error
    if found is None:
        raise Http404(day)
    context = {
        "at": now,
        "day": found,
        "new": udder_words.new_words(found.herd.moved.new, found.herd.rules),
        "high": udder_words.high_words(found.herd.moved.high, found.herd.rules),
        "missing": found.herd.missing[:MISSING_SHOWN],
        "missing_more": max(len(found.herd.missing) - MISSING_SHOWN, 0),
    }
    return render(request, "herd/recording.html", context)


@action_required("read")
def animal_udder(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One cow's udder; fetched as a panel of her page it is the panel alone."""
    cow = get_object_or_404(Animal, uuid=uuid)
    now = timezone.now()
    udder = udder_of(cow, now)
    context = {"animal": cow, "at": now, "udder": udder, "curve": lactation_curve(cow, udder)}
    panel = request.headers.get("HX-Request") == "true"
    template = "herd/_udder_of_animal.html" if panel else "herd/animal_udder.html"
    return render(request, template, context)
