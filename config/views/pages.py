"""The frame's own pages: today, the search, and who may do what."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.begun import has_begun
from config.day_sheet import RELIEF, SHEETS, sheet_for
from config.find import find as find_all
from config.kinds import all_kinds
from config.language import in_a_sentence
from config.roles import ACTIONS, OFFICE, OWNER, ROLES, VET, action_required, may, roles_of

SHOWN_NOTICES = 40
# Who opens the book; while it is empty their sheets lead to the first day.
FIRST_DAY_OF = (VET, OFFICE, OWNER)
NO_SHEET = N_("There is no sheet “{role}”. Expected one of {sheets}.")


@action_required("read")
def today(request: HttpRequest, role: str = "") -> HttpResponse:
    """A role's day sheet: what must be done next, and its questions answered in words.

    Without a role it is the sheet of the first role the person has.
    """
    mine = [one for one in roles_of(request.user) if one in SHEETS]
    name = role.replace("-", " ") or next(iter(mine), RELIEF)
    if name not in SHEETS:
        raise Http404(_(NO_SHEET).format(role=role[:40], sheets=", ".join(SHEETS)))
    found = sheet_for(name, request.user, timezone.now(), SHOWN_NOTICES + 1)
    context = {
        "sheet": found,
        "notices": found.notices[:SHOWN_NOTICES],
        "more": len(found.notices) > SHOWN_NOTICES,
        "sheets": [(one, one.replace(" ", "-")) for one in SHEETS],
        "mine": mine,
        "first_day": name in FIRST_DAY_OF and not has_begun(request.user),
    }
    return render(request, "config/today.html", context)


@action_required("read")
def find(request: HttpRequest) -> HttpResponse:
    """Find a cow, tag, lot, plate, load or field by what people call it."""
    text = request.GET.get("q", "")[:100].replace("\x00", "").strip()
    answers = find_all(text)
    context = {"text": text, "answers": answers, "count": sum(len(found) for _, found in answers)}
    return render(request, "config/find.html", context)


@action_required("read")
def roles(request: HttpRequest) -> HttpResponse:
    """Who may do what: one row per action, one column per role."""
    titles = {kind.slug: str(kind.title) for kind in all_kinds()}
    rows = [
        (action_words(action, titles), [role in allowed for role in ROLES])
        for action, allowed in ACTIONS.items()
        if ":" not in action or action.partition(":")[2] in titles or action.startswith("release")
    ]
    context = {
        "roles": ROLES,
        "rows": rows,
        "mine": roles_of(request.user),
        "people": may(request.user, "look after people"),
        "phones": may(request.user, "hand out phones"),
    }
    return render(request, "config/roles.html", context)


def action_words(action: str, titles: dict[str, str]) -> str:
    """An action as a person says it ("strike forage batches")."""
    verb, _mark, slug = action.partition(":")
    return f"{_(verb)} {in_a_sentence(titles.get(slug, slug.replace('-', ' ')))}".strip()
