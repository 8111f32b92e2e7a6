"""The kinds of entry are described once, and what is made from them follows."""

import pytest
from django.core.checks import run_checks

from config import entries, kinds
from config.checks import every_kind_has_writers
from config.kinds import Kind, all_kinds, kind_named, kind_of, register
from herd.models import Group, HealthEvent
from tests.factories.herd import make_group


def test_every_app_registers_its_kinds():
    assert {kind.app for kind in all_kinds()} == {"herd", "feed", "milk"}


def test_no_two_kinds_share_a_model():
    models = [kind.model for kind in all_kinds()]
    assert len(models) == len(set(models))


def test_every_table_of_entries_has_a_kind():
    models = {model for model in entries.Entry.__subclasses__() if not model._meta.abstract}
    assert models - {kind.model for kind in all_kinds()} == set()


def test_a_kind_is_found_by_name_and_by_entry():
    assert kind_named("groups").model is Group
    assert kind_of(Group(number=1)).slug == "groups"
    with pytest.raises(KeyError):
        kind_named("unicorns")


def test_a_name_is_taken_once():
    with pytest.raises(LookupError, match="two kinds of entry are called groups"):
        register([Kind(slug="groups", model=Group, fields=("number",), title="Groups")])


def test_a_field_that_is_not_there_is_refused_at_start():
    with pytest.raises(LookupError, match="no field named 'nubmer'"):
        register([Kind(slug="herds", model=Group, fields=("nubmer",), title="Groups")])


def test_a_kind_nobody_may_write_is_reported(monkeypatch):
    extra = Kind(slug="herds", model=Group, fields=("number",), title="Herds")
    monkeypatch.setitem(kinds._kinds, "herds", extra)
    assert [error.id for error in every_kind_has_writers(None)] == ["config.E101"]


def test_the_estate_as_it_is_passes_the_checks():
    assert run_checks() == []


def test_only_models_that_keep_their_number_are_corrected():
    assert kind_named("groups").corrects is entries.correct
    assert kind_named("health-events").corrects is None
    own = kind_named("animals").correct
    assert kind_named("animals").corrects is (own or entries.correct)


@pytest.mark.django_db
def test_a_kind_without_a_service_of_its_own_is_recorded_plainly(vet):
    made = kind_named("groups").write(stamp=entries.Stamp.now(vet), number=12)
    assert (type(made), made.number) == (Group, 12)


@pytest.mark.django_db
def test_entries_of_a_kind_hold_struck_ones_too(vet):
    group = make_group(milked=False)
    entries.strike(group, by=vet, reason="twice")
    assert list(kind_named("groups").entries()) == [group]
    assert not HealthEvent.objects.exists()
