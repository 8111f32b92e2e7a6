"""The standing cast: one user per role, somebody without a role, and clients signed in as them.

Fixtures: ``vet``, ``stockman``, ``milker``, ``feed_hand``, ``cheesemaker``, ``store_hand``,
``office``, ``owner``, ``inspector``, ``nobody`` (signed in, no role); each with ``<name>_client``
(pages) and ``<name>_api`` (JSON with an Idempotency-Key of its own for each write).
"""

import json
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from django.test import Client

from config.roles import ROLES


class Api:
    """A client of the API: bodies as JSON, and a new Idempotency-Key for each write."""

    def __init__(self, user: User | None) -> None:
        self.client = Client()
        if user is not None:
            self.client.force_login(user)

    def get(self, path: str, **query: Any) -> Any:
        return self.client.get(path, query)

    def post(self, path: str, body: Any, *, key: str | None = None) -> Any:
        """POST a body; ``key=""`` sends no key at all."""
        headers = {} if key == "" else {"Idempotency-Key": key or str(uuid4())}
        text = body if isinstance(body, str | bytes) else json.dumps(body)
        return self.client.post(path, text, content_type="application/json", headers=headers)


class Pages(Client):
    """A browser without JavaScript: forms are sent with a number of their own."""

    def send(self, path: str, *, once: str | None = None, **fields: Any) -> Any:
        """POST a form; ``once=""`` sends no number."""
        number = {} if once == "" else {"once": once or str(uuid4())}
        return self.post(path, {**number, **fields})


def user_in(role: str | None) -> User:
    """The cast's user of a role; None is somebody whom nobody gave a role."""
    name = (role or "nobody").replace(" ", "-")
    user, made = User.objects.get_or_create(username=name)
    if role and (made or not user.groups.exists()):
        user.groups.add(Role.objects.get_or_create(name=role)[0])
    return user


def user_fixture(role: str | None) -> Callable[..., User]:
    @pytest.fixture
    def user(db: None) -> User:
        return user_in(role)

    return user


def client_fixture(name: str) -> Callable[..., Pages]:
    @pytest.fixture
    def client(request: pytest.FixtureRequest) -> Pages:
        pages = Pages()
        pages.force_login(request.getfixturevalue(name))
        return pages

    return client


def api_fixture(name: str) -> Callable[..., Api]:
    @pytest.fixture
    def api(request: pytest.FixtureRequest) -> Api:
        return Api(request.getfixturevalue(name))

    return api


for role in (*ROLES, None):
    name = (role or "nobody").replace(" ", "_")
    globals()[name] = user_fixture(role)
    globals()[f"{name}_client"] = client_fixture(name)
    globals()[f"{name}_api"] = api_fixture(name)


def text(answer: Any) -> str:
    """A page as one line of text, whatever its line breaks."""
    return " ".join(answer.content.decode().split())
