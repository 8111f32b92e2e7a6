"""What each writer was told, kept outside the system: a file each, on the disk at every word.

An entry is known by its mark, a text of its own in one of its fields, so that a second copy of it
is seen whatever number it has.
"""

import json
import os
import threading
from collections import Counter
from pathlib import Path

SENT, ACKNOWLEDGED, REFUSED = "sent", "acknowledged", "refused"


class Ledger:
    """What became of the entries of one writer, by mark."""

    def __init__(self, path: Path) -> None:
        self.file = path.open("ab", buffering=0)
        self.lock = threading.Lock()
        self.states: dict[str, str] = {}
        self.kinds: dict[str, str] = {}
        self.strange: list[str] = []

    def say(
        self, mark: str, state: str, kind: str, words: str = "", *, strange: bool = False
    ) -> None:
        """Write down a word about an entry, and have it on the disk before going on.

        ``strange``: a good entry that was refused, or a wrong one that was taken.
        """
        line = json.dumps({"mark": mark, "state": state, "kind": kind, "words": words[:300]})
        with self.lock:
            self.file.write(f"{line}\n".encode())
            os.fsync(self.file.fileno())
            self.states[mark], self.kinds[mark] = state, kind
            if strange:
                self.strange.append(f"{kind} {mark}: {words[:300]}")

    def known(self) -> dict[str, tuple[str, str]]:
        """By mark: what was said last, and the kind; as of now."""
        with self.lock:
            return {mark: (state, self.kinds[mark]) for mark, state in self.states.items()}


def read_again(folder: Path) -> dict[str, tuple[str, str]]:
    """The same for all writers, from their files alone."""
    found: dict[str, tuple[str, str]] = {}
    for path in sorted(folder.glob("*.ledger")):
        for line in path.read_text().splitlines():
            told = json.loads(line)
            found[told["mark"]] = (told["state"], told["kind"])
    return found


def count(known: dict[str, tuple[str, str]]) -> Counter[str]:
    """How many entries are in each state."""
    return Counter(state for state, _ in known.values())
