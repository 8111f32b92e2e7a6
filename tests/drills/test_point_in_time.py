"""Back to a moment between two backups, with PostgreSQL's own means, as PRODUCTION.md says.

On a server of its own: a base backup, an archive of what was written since, and a recovery that
stops before the mistake.
"""

import time
from pathlib import Path

import pytest

from config.embedded import postgres
from config.embedded.account import Account, account_for
from config.embedded.service import socket_folder
from tests.servers import USER, Server, wait_for


@pytest.fixture
def place(tmp_path: Path) -> tuple[Path, Account]:
    account = account_for(tmp_path)
    if account.place is not None:
        pytest.skip("this system forbids user namespaces to root: run the drill as another user")
    sockets = socket_folder(tmp_path, postgres.LONGEST_NAME)
    account.own_folder(sockets)
    return sockets, account


def settings_for(sockets: Path, archive: Path) -> str:
    return "\n".join(
        (
            "listen_addresses = ''",
            f"unix_socket_directories = '{sockets}'",
            "archive_mode = on",
            f"archive_command = 'test ! -f {archive}/%f && cp %p {archive}/%f'",
            "",
        )
    )


def test_back_to_the_moment_before_a_mistake(place: tuple[Path, Account], tmp_path: Path) -> None:
    sockets, account = place
    archive, base = tmp_path / "archive", tmp_path / "base"
    archive.mkdir(mode=0o700)
    first = Server(account, tmp_path / "data", sockets)
    first.program("initdb", "-D", first.data, "-U", USER, "--auth=trust", "--no-sync")
    with (first.data / "postgresql.conf").open("a") as file:
        file.write(settings_for(sockets, archive))
    first.start()
    try:
        first.ask("CREATE TABLE doses (id int PRIMARY KEY)", "INSERT INTO doses VALUES (1)")
        first.program("pg_basebackup", "-D", base, "-h", sockets, "-U", USER, "--no-sync")
        # Written after the backup, and it must be there again.
        first.ask("INSERT INTO doses VALUES (2)")
        time.sleep(0.1)
        ((moment,),) = first.ask("SELECT now()::text")
        time.sleep(0.1)
        first.ask("DELETE FROM doses", "SELECT pg_switch_wal()")
        wait_for(lambda: first.ask("SELECT last_archived_time FROM pg_stat_archiver") != [(None,)])
    finally:
        first.stop()

    again = Server(account, base, sockets)
    with (base / "postgresql.conf").open("a") as file:
        file.write(f"restore_command = 'cp {archive}/%f %p'\nrecovery_target_time = '{moment}'\n")
    (base / "recovery.signal").touch()
    again.start()
    try:
        wait_for(lambda: again.ask("SELECT pg_is_wal_replay_paused()") == [(True,)])
        assert again.ask("SELECT id FROM doses ORDER BY id") == [(1,), (2,)]
        again.ask("SELECT pg_wal_replay_resume()")
        wait_for(lambda: again.ask("SELECT pg_is_in_recovery()") == [(False,)])
        again.ask("INSERT INTO doses VALUES (3)")
        assert again.ask("SELECT count(*) FROM doses") == [(3,)]
    finally:
        again.stop()
