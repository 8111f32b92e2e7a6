"""Pages that are made from the kinds, and the frame's own, without JavaScript."""

import re
from datetime import UTC, datetime

import pytest

from config.find import find, register
from config.kinds import all_kinds, kind_named
from config.notices import raise_notice
from config.roles import ACTIONS
from herd.models import Animal, Group, HealthEvent, Recording
from tests.factories.frame import make_any
from tests.factories.herd import (
    HOUR,
    NOON,
    make_animal,
    make_dose,
    make_group,
    make_health_event,
    make_recording,
)

pytestmark = pytest.mark.django_db
KINDS = [pytest.param(kind, id=kind.slug) for kind in all_kinds()]
NEW = "/entries/groups/new/"
GROUP = {"happened_at": "2026-06-02T12:00", "number": "77", "use": "milking"}


def text_of(answer):
    return re.sub(r"\s+", " ", answer.content.decode())


def test_an_entry_is_written_and_shown(vet_client, vet):
    answer = vet_client.send(NEW, **GROUP)
    group = Group.objects.get(number=77)
    assert answer.url == f"/entries/groups/{group.uuid}/"
    assert (group.by, group.happened_at, group.device) == (vet, NOON, "page")
    shown = text_of(vet_client.get(answer.url))
    for words in ("Written: group 77.", "Tue 2 Jun", "12:00", "+02:00 from UTC", str(group.uuid)):
        assert words in shown


def test_a_refused_form_keeps_what_was_typed_and_leads_to_the_field(vet_client):
    shown = text_of(vet_client.send(NEW, **{**GROUP, "number": "many"}))
    assert "Nothing was saved" in shown
    assert 'href="#id_number"' in shown
    assert 'value="many"' in shown
    assert re.search(r'<input[^>]*aria-invalid="true"[^>]*>', shown)
    assert re.search(r'aria-describedby="[^"]*id_number_error', shown)
    assert 'id="id_number_error"' in shown
    assert not Group.objects.exists()


def test_a_refusal_of_the_rules_stands_at_its_field(vet_client):
    make_group(77, milked=False)
    form = vet_client.send(NEW, **GROUP).context["form"]
    assert form.errors == {"number": ["There is a group with this number already."]}
    assert Group.objects.count() == 1


def test_who_may_not_write_is_told_who_may(milker_client):
    answer = milker_client.get(NEW)
    assert answer.status_code == 403
    assert "It is open to: vet, office." in answer.content.decode()
    assert milker_client.send(NEW, **GROUP).status_code == 403
    assert not Group.objects.exists()


def test_who_is_not_signed_in_signs_in_first(client):
    answer = client.get(NEW)
    assert (answer.status_code, answer.url) == (302, f"/login/?next={NEW}")


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_its_pages(kind, vet_client, inspector_client):
    entry = make_any(kind.model)
    one = f"/entries/{kind.slug}/{entry.uuid}/"
    for path in (f"/entries/{kind.slug}/", one):
        assert str(entry.uuid) in inspector_client.get(path).content.decode()
    writes, strikes = ("vet" in ACTIONS[f"{act}:{kind.slug}"] for act in ("write", "strike"))
    assert vet_client.get(f"/entries/{kind.slug}/new/").status_code == (200 if writes else 403)
    for act in ("strike", "re-enter"):
        assert vet_client.get(f"{one}{act}/").status_code == (200 if strikes else 403)
        assert inspector_client.get(f"{one}{act}/").status_code == 403


@pytest.mark.parametrize("kind", [p for p in KINDS if "vet" in ACTIONS[f"write:{p.id}"]])
def test_an_empty_form_of_any_kind_is_refused_in_words(kind, vet_client):
    before = kind.model.objects.count()
    answer = vet_client.send(f"/entries/{kind.slug}/new/", happened_at="")
    assert answer.status_code == 200
    assert "Nothing was saved" in answer.content.decode()
    assert kind.model.objects.count() == before


def test_strike_by_page_stays_readable(vet_client):
    event = make_health_event()
    one = f"/entries/health-events/{event.uuid}/"
    refused = vet_client.send(f"{one}strike/", reason="other", words="")
    assert "needs an explanation" in text_of(refused)
    assert vet_client.send(f"{one}strike/", reason="other", words="not lame").url == one
    shown = text_of(vet_client.get(one))
    assert "Struck" in shown
    assert "not lame" in shown
    assert "Nothing replaces it." in shown
    assert "re-enter/" not in shown
    row = text_of(vet_client.get("/entries/health-events/"))
    assert 'class="struck-row"' in row


def test_re_entry_of_a_leaf_links_both_ways(vet_client):
    event, other = make_health_event(), make_animal()
    path = f"/entries/health-events/{event.uuid}/re-enter/"
    form = vet_client.get(path).context["form"]
    assert form["sign"].value() == "flakes LF"
    answer = vet_client.send(
        path,
        reason="animal",
        animal=other.ear_tag,
        sign="flakes LF",
        happened_at="2026-06-02T12:00",
    )
    assert answer.status_code == 302, answer.context["form"].errors
    new = HealthEvent.objects.get(replaces=event)
    assert new.animal == other
    assert f"/entries/health-events/{new.uuid}/" in text_of(
        vet_client.get(f"/entries/health-events/{event.uuid}/")
    )
    assert "Every wording" in text_of(vet_client.get(answer.url))


def test_re_entry_keeps_the_seconds_that_the_form_does_not_show(vet_client):
    at = datetime(2026, 6, 2, 10, 0, 35, tzinfo=UTC)
    group = make_group(77, milked=False, happened_at=at)
    answer = vet_client.send(
        f"/entries/groups/{group.uuid}/re-enter/",
        **{**GROUP, "number": "78", "reason": "other", "words": "sign"},
    )
    assert answer.url == f"/entries/groups/{group.uuid}/"
    group.refresh_from_db()
    assert (group.number, group.happened_at) == (78, at)


@pytest.mark.parametrize(
    ("typed", "utc"),
    [
        ("2026-06-02T12:00", datetime(2026, 6, 2, 10, 0, tzinfo=UTC)),
        ("2026-01-02 12:00", datetime(2026, 1, 2, 11, 0, tzinfo=UTC)),
        # 26 October 2025, 02:30, comes twice; the later one withholds longer.
        ("2025-10-26T02:30", datetime(2025, 10, 26, 1, 30, tzinfo=UTC)),
    ],
)
def test_a_typed_moment_is_of_the_estates_clock(vet_client, typed, utc):
    vet_client.send(NEW, **{**GROUP, "happened_at": typed})
    assert Group.objects.get(number=77).happened_at == utc


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("2026-03-29T02:30", "did not exist"),
        ("soon", "no date and time"),
        ("0001-01-01T00:00", "out of range"),
        ("9999-12-31T23:59", "out of range"),
        ("2100-01-01T00:00", "has not come yet"),
        ("", "cannot be blank"),
    ],
)
def test_a_moment_that_cannot_be_is_refused_at_its_field(vet_client, typed, words):
    answer = vet_client.send(NEW, **{**GROUP, "happened_at": typed})
    assert words in " ".join(answer.context["form"].errors["happened_at"])
    assert not Group.objects.exists()


@pytest.mark.parametrize(("typed", "kept"), [("187,5", "187.5"), (" 187.5 ", "187.5"), ("0", "0")])
def test_a_number_takes_comma_or_point(vet_client, typed, kept):
    animal = make_animal()
    answer = vet_client.send(
        "/entries/recordings/new/",
        happened_at="2026-06-02T12:00",
        animal=animal.ear_tag,
        cells=typed,
    )
    assert answer.status_code == 302, answer.context["form"].errors
    assert str(Recording.objects.get().cells.normalize()) == kept


@pytest.mark.parametrize("typed", ["1,8E+3", "1.234,5", "1,234", "12 000", "NaN", "∞", "-", "1e9"])
def test_a_number_that_needs_guessing_is_refused(vet_client, typed):
    answer = vet_client.send(
        "/entries/recordings/new/",
        happened_at="2026-06-02T12:00",
        animal=make_animal().ear_tag,
        cells=typed,
    )
    assert answer.context["form"].errors["cells"]
    assert not Recording.objects.exists()


@pytest.mark.parametrize("how", ["ear_tag", "farm_number", "uuid"])
def test_an_animal_is_named_by_what_people_call_her(vet_client, how):
    animal = make_animal()
    vet_client.send(
        "/entries/health-events/new/",
        happened_at="2026-06-02T12:00",
        animal=str(getattr(animal, how)),
        sign="lame",
    )
    assert HealthEvent.objects.get().animal == animal


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("9998", "No animal is called"),
        ("Daisy", "No animal"),
        ("\x00", "no text"),
        ("1" * 81, "80"),
    ],
)
def test_an_animal_nobody_knows_is_refused_at_the_field(vet_client, typed, words):
    answer = vet_client.send(
        "/entries/health-events/new/", happened_at="2026-06-02T12:00", animal=typed, sign="lame"
    )
    assert words in " ".join(answer.context["form"].errors["animal"])


def test_a_struck_animal_is_refused_by_its_number(vet_client, vet):
    animal = make_animal()
    kind_named("animals").strike(animal, by=vet, reason="twice")
    answer = vet_client.send(
        "/entries/health-events/new/",
        happened_at="2026-06-02T12:00",
        animal=str(animal.uuid),
        sign="lame",
    )
    assert "was struck" in " ".join(answer.context["form"].errors["animal"])


def test_a_link_fills_in_part_of_the_form(vet_client):
    animal = make_animal()
    shown = vet_client.get(f"/entries/health-events/new/?animal={animal.uuid}&sign=lame&x=y")
    form = shown.context["form"]
    assert (form["animal"].value(), form["sign"].value()) == (str(animal.uuid), "lame")


def test_the_index_offers_only_what_a_role_may_write(milker_client):
    shown = milker_client.get("/entries/").content.decode()
    assert "/entries/doses/new/" in shown
    assert "/entries/courses/new/" not in shown
    assert 'href="/entries/courses/"' in shown


def test_a_long_list_is_turned_page_by_page(vet_client):
    animal = make_animal()
    for _ in range(51):
        make_recording(animal, happened_at=NOON.replace(minute=_), session="")
    first = vet_client.get("/entries/recordings/")
    assert len(first.context["rows"]) == 50
    second = vet_client.get(first.context["next"])
    assert len(second.context["rows"]) == 1
    assert len(vet_client.get(second.context["previous"]).context["rows"]) == 50


def test_today_shows_what_waits_for_my_role_only(vet_client):
    raise_notice(cause="a", role="vet", what="Look at 1042.", where="Group 5", otherwise="Held.")
    raise_notice(cause="b", role="feed hand", what="Throw load 7 away.")
    shown = text_of(vet_client.get("/"))
    assert "Look at 1042." in shown
    assert "If not: Held." in shown
    assert "Throw load 7 away." not in shown


def test_today_without_anything_to_do_says_so(milker_client):
    assert "Nothing is waiting for you." in text_of(milker_client.get("/"))


def test_without_a_role_there_is_nothing_to_see(nobody_client):
    answer = nobody_client.get("/")
    assert answer.status_code == 403
    assert "nobody has given you a role" in answer.content.decode()


def test_the_search_asks_every_finder(vet_client, monkeypatch):
    monkeypatch.setattr("config.find._finders", {})
    register("Cows", lambda text: [(f"cow {text}", "/cow/")])
    register("Loads", lambda text: [])
    assert find("  1042 ") == [("Cows", [("cow 1042", "/cow/")])]
    shown = text_of(vet_client.get("/find/?q=1042"))
    assert "1 found for “1042”" in shown
    assert 'href="/cow/"' in shown
    with pytest.raises(LookupError):
        register("Cows", lambda text: [])


@pytest.mark.parametrize("text", ["", "   ", "no such thing", "<script>", "%", "\x00", "a" * 400])
def test_the_search_takes_anything(vet_client, text):
    answer = vet_client.get("/find/", {"q": text})
    assert answer.status_code == 200
    assert "<script>" not in answer.content.decode().replace("<script src", "")


def test_the_real_finders_find_a_cow(vet_client):
    animal = make_animal(farm_number=1042)
    shown = vet_client.get("/find/?q=1042").content.decode()
    assert str(animal.uuid) in shown


def test_who_may_do_what_is_a_page(inspector_client):
    shown = text_of(inspector_client.get("/roles/"))
    assert "write courses" in shown
    assert "You: inspector" in shown


def test_no_page_carries_script_or_style_of_its_own(vet_client):
    event = make_health_event()
    pages = ["/", "/entries/", "/entries/health-events/", "/roles/", "/find/?q=x", NEW]
    pages.append(f"/entries/health-events/{event.uuid}/")
    for path in pages:
        answer = vet_client.get(path)
        html = answer.content.decode()
        assert "style=" not in html
        assert "<style" not in html
        assert not re.search(r"<script(?![^>]*\bsrc=)", html)
        assert not re.search(r"\son[a-z]+=", html)
        policy = answer["Content-Security-Policy"]
        assert "unsafe" not in policy
        assert "default-src 'self'" in policy
    assert Animal.objects.count() == 1


def test_a_page_fetched_as_a_panel_comes_without_the_frame(vet_client):
    panel = vet_client.get("/entries/", headers={"HX-Request": "true"})
    assert "<h1>Entries</h1>" in panel.content.decode()
    assert "<header" not in panel.content.decode()
    assert "HX-Request" in panel["Vary"]


def test_a_long_choice_offers_the_newest_and_the_one_that_stands(vet_client, monkeypatch):
    monkeypatch.setattr("config.forms.fields.LONGEST_SELECT", 2)
    doses = [make_dose(at=NOON + n * HOUR) for n in range(4)]
    path = f"/entries/doses/{doses[0].uuid}/re-enter/"
    offered = [value for value, _ in vet_client.get(path).context["form"].fields["course"].choices]
    assert str(doses[0].course.uuid) in map(str, offered)
    assert len(offered) == 1 + 2 + 1
