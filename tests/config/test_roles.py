"""Who may do what."""

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from config import roles
from config.kinds import all_kinds
from config.roles import ACTIONS, OWN_MISTAKE, READERS, ROLES, check_may, may, may_strike
from tests.factories.herd import make_animal

pytestmark = pytest.mark.django_db


def test_everybody_who_works_here_may_read(request):
    for role in READERS:
        assert may(request.getfixturevalue(role.replace(" ", "_")), "read")


def test_without_a_role_nothing_is_open(nobody):
    assert not any(may(nobody, action) for action in ACTIONS)
    with pytest.raises(PermissionDenied, match="nobody has given you a role"):
        check_may(nobody, "read")


def test_the_inspector_only_reads(inspector):
    assert [action for action in ACTIONS if may(inspector, action)] == ["read"]


def test_a_laboratory_sends_in_its_results_and_nothing_else(laboratory):
    assert [action for action in ACTIONS if may(laboratory, action)] == ["send in results"]


def test_only_the_vet_orders_a_course(request):
    may_order = [
        role
        for role in ROLES
        if may(request.getfixturevalue(role.replace(" ", "_")), "write:courses")
    ]
    assert may_order == ["vet"]


def test_a_refusal_names_the_role_the_act_and_who_may(feed_hand):
    with pytest.raises(PermissionDenied) as refused:
        check_may(feed_hand, "write:courses")
    assert str(refused.value) == "Your role (feed hand) may not write courses. It is open to: vet."


def test_an_action_nobody_listed_is_a_mistake_of_ours(vet):
    with pytest.raises(KeyError):
        may(vet, "write:unicorns")


def test_somebody_switched_off_has_no_roles(vet):
    vet.is_active = False
    assert roles.roles_of(vet) == ()


def test_every_kind_says_who_writes_and_who_strikes():
    for kind in all_kinds():
        assert ACTIONS[f"write:{kind.slug}"]
        assert f"strike:{kind.slug}" in ACTIONS


@pytest.mark.parametrize(
    ("minutes", "allowed"), [(0, True), (29, True), (31, False), (60 * 24, False)]
)
def test_whoever_wrote_it_may_strike_it_for_half_an_hour(stockman, minutes, allowed):
    animal = make_animal(by=stockman, received_at=timezone.now() - timedelta(minutes=minutes))
    assert timedelta(minutes=30) == OWN_MISTAKE
    assert may_strike(stockman, "animals", animal) is allowed


def test_another_one_of_the_same_role_may_not(stockman, vet, milker):
    animal = make_animal(by=vet, received_at=timezone.now())
    assert not may_strike(stockman, "animals", animal)
    assert may_strike(vet, "animals", animal)


def test_a_kind_nobody_strikes_is_not_struck_by_its_writer_either(stockman, monkeypatch):
    animal = make_animal(by=stockman, received_at=timezone.now())
    assert may_strike(stockman, "animals", animal)
    monkeypatch.setitem(ACTIONS, "strike:animals", ())
    assert not may_strike(stockman, "animals", animal)


def test_the_programs_own_user_cannot_sign_in(client):
    user = roles.system_user()
    assert not user.is_active
    assert not user.has_usable_password()
    assert roles.roles_of(user) == ()
