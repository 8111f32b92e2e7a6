"""Django's PostgreSQL engine, which has the embedded server started when it first needs it."""

from functools import cache
from typing import Any

import psycopg
from django.conf import settings
from django.db.backends.postgresql import base
from django.db.utils import OperationalError
from psycopg import sql

from config.embedded import keeper, postgres
from config.embedded.errors import EmbeddedError

# The database that initdb makes; connected to for making others.
FIRST_DATABASE = "postgres"


class DatabaseWrapper(base.DatabaseWrapper):
    """A connection to the embedded server of ``settings.SWARDLINE_DATA``."""

    def get_connection_params(self) -> dict[str, Any]:
        """Where to connect; joins the server, so that it is there. Raises OperationalError."""
        folder = settings.SWARDLINE_DATA
        try:
            keeper.join("postgres", folder, fsync="on" if settings.EMBEDDED_FSYNC else "off")
        except EmbeddedError as error:
            raise OperationalError(str(error)) from error
        self.settings_dict["HOST"] = str(postgres.Postgres().socket_path(folder).parent)
        self.settings_dict["PORT"] = str(postgres.PORT)
        self.settings_dict["USER"] = postgres.USER
        params: dict[str, Any] = super().get_connection_params()
        if params["dbname"] != FIRST_DATABASE:
            make_database(params["host"], params["dbname"])
        return params


@cache
def make_database(sockets: str, name: str) -> None:
    """Make the database when the server is new."""
    with psycopg.connect(
        host=sockets,
        port=postgres.PORT,
        user=postgres.USER,
        dbname=FIRST_DATABASE,
        autocommit=True,
    ) as connection:
        if connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [name]).fetchone():
            return
        try:
            connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        except psycopg.errors.DuplicateDatabase:
            # Another process that started at the same moment was faster.
            return
