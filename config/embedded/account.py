"""Under which account a server runs. PostgreSQL refuses to run as root."""

import hashlib
import os
import pwd
import shutil
import stat
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from config.embedded.errors import EmbeddedError

# Any number but 0 will do inside the namespace; outside it the files stay root's.
IN_NAMESPACE = ("unshare", "--user", "--map-user=1000", "--map-group=1000")
UNPRIVILEGED = "nobody"
NO_ACCOUNT = (
    "PostgreSQL does not run as root, this system forbids user namespaces and has no account "
    f"“{UNPRIVILEGED}”. Run Swardline as an ordinary user, or set DATABASE_URL to a server."
)

NOT_OURS = (
    "{path} must be a folder that belongs to this account and that nobody else can enter (mode "
    "0700). Remove it, or set SWARDLINE_DATA to another folder."
)
# Where an account without rights can have files that outlive a restart.
PLACES = Path("/var/lib")


@dataclass(frozen=True)
class Account:
    """How to start programs of the server, and where its files have to lie.

    ``prefix`` goes before each command, ``user`` and ``group`` are numbers to change to (None: stay
    who we are) and ``place`` is the folder for data and copied programs (None: the data folder).
    """

    prefix: tuple[str, ...] = ()
    user: int | None = None
    group: int | None = None
    place: Path | None = None

    def options(self) -> dict[str, Any]:
        """Arguments for subprocess."""
        if self.user is None:
            return {}
        return {"user": self.user, "group": self.group, "extra_groups": []}

    def own_folder(self, path: Path) -> Path:
        """Make a folder that only this account (and root) can enter.

        Raises EmbeddedError when somebody else made it first, as anybody can under /tmp.
        """
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
        found = path.lstat()
        mine = found.st_uid in (os.geteuid(), self.user)
        if not mine or not stat.S_ISDIR(found.st_mode) or stat.S_IMODE(found.st_mode) & 0o077:
            raise EmbeddedError(NOT_OURS.format(path=path))
        if self.user is not None and self.group is not None:
            os.chown(path, self.user, self.group)
        return path


@cache
def namespaces_allowed() -> bool:
    """Whether root may start a program in a user namespace of its own here."""
    if shutil.which(IN_NAMESPACE[0]) is None:
        return False
    tried = subprocess.run([*IN_NAMESPACE, "true"], capture_output=True, check=False)
    return tried.returncode == 0


def account_for(folder: Path) -> Account:
    """The account for a server whose data folder is ``folder``.

    An ordinary user starts it as themselves. Root starts it in a user namespace, where the files
    stay root's own; where those are forbidden, an account without rights runs it from a folder that
    it can reach. Raises EmbeddedError when there is none.
    """
    if os.geteuid() != 0:
        return Account()
    if namespaces_allowed():
        return Account(prefix=IN_NAMESPACE)
    try:
        entry = pwd.getpwnam(UNPRIVILEGED)
    except KeyError:
        raise EmbeddedError(NO_ACCOUNT) from None
    digest = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:12]
    place = PLACES / f"swardline-{digest}"
    return Account(user=entry.pw_uid, group=entry.pw_gid, place=place)
