"""Where sessions are kept: Django's own way, with whose each is, since when and from where."""

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.utils import timezone

from config.access.models import Session
from config.one_row import OneRow

# What a session says of itself in its data; the columns follow from it.
PHONE, ADDRESS, BROWSER = "phone", "address", "browser"


# Asked for every page: a session by its number that is not over at a moment.
session = OneRow(
    lambda key, at: Session.objects.filter(session_key=key, expire_date__gt=at),
    "number of a session",
    datetime(1970, 1, 1, tzinfo=UTC),
)


class SessionStore(DatabaseStore):
    """The engine that ``SESSION_ENGINE`` names; ``row`` is what was read or saved last."""

    row: Session | None = None

    @classmethod
    def get_model_class(cls) -> type[Session]:
        return Session

    def _get_session_from_db(self) -> Any:
        self.row = session.by(self.session_key, timezone.now())
        if self.row is None:
            # As Django's own: over or never there, and the number is not used again.
            self._session_key = None
        return self.row

    def create_model_instance(self, data: dict[str, Any]) -> Session:
        """The row of a session that is saved: it tells of the data what lists must know."""
        kept: Any = super().create_model_instance(data)
        before = self.row if self.row and self.row.session_key == kept.session_key else None
        now = timezone.now()
        kept.uuid = before.uuid if before else uuid4()
        kept.since = before.since if before else now
        kept.seen_at = now
        kept.user_id = int(data[SESSION_KEY]) if SESSION_KEY in data else None
        kept.phone_id = data.get(PHONE)
        kept.address, kept.browser = data.get(ADDRESS, ""), data.get(BROWSER, "")
        made: Session = kept
        self.row = made
        return made
