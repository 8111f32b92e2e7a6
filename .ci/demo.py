"""Try the demo as a newcomer would: start it, read it, trace both ways, stop it, look around.

Usage: demo.py CLONE PORT. Uses the standard library only: it runs before anything is installed.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

FIRST_START_SECONDS = 420
# The promise for a second start is 10 s on two free cores; a busy machine may take twice as long.
SECOND_START_SECONDS = 20
STOP_SECONDS = 60
JOB, JOB_SECONDS = "milk.tasks.flag_withheld_milk", 60


class Demo:
    """A running `make demo`."""

    def __init__(self, clone: Path, port: int, log: Path) -> None:
        self.clone, self.port, self.log = clone, port, log
        self.began = time.monotonic()
        with log.open("wb") as output:
            self.make = subprocess.Popen(
                ["make", "demo", f"PORT={port}"],
                cwd=clone,
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def output(self) -> str:
        return self.log.read_text(errors="replace")

    def wait_until_ready(self, seconds: float) -> float:
        while time.monotonic() - self.began < seconds:
            if "ready: http://" in self.output():
                return time.monotonic() - self.began
            if self.make.poll() is not None:
                fail(f"make demo ended with {self.make.returncode}", self.output())
            time.sleep(0.1)
        self.stop()
        return fail(f"not ready after {seconds} s", self.output())

    def stop(self) -> None:
        """What Ctrl-C does: SIGINT to everybody in front."""
        os.killpg(self.make.pid, signal.SIGINT)
        self.make.wait(STOP_SECONDS)

    def ask(self, path: str, token: str = "", body: Any = None) -> Any:
        request = urllib.request.Request(f"http://127.0.0.1:{self.port}{path}")
        request.add_header("Accept", "application/json")
        if token:
            request.add_header("Authorization", f"Token {token}")
        if body is not None:
            request.data = json.dumps(body).encode()
            request.add_header("Content-Type", "application/json")
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as error:
            return fail(f"{path} answered {error.code}", error.read().decode(errors="replace"))


def fail(what: str, output: str = "") -> Any:
    print(output)
    sys.exit(f"demo check failed: {what}")


def expect(true: object, what: str, output: str = "") -> None:
    if not true:
        fail(what, output)
    print(f"ok: {what}", flush=True)


def left_running(clone: Path) -> list[str]:
    """Command lines of processes that belong to the clone (zombies have none)."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            line = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
            here = Path(os.readlink(entry / "cwd"))
        except OSError:
            continue
        mine = int(entry.name) in (os.getpid(), os.getppid())
        if line and not mine and (f"{clone}/" in line or here == clone and "manage.py" in line):
            found.append(f"{entry.name} {line}")
    return found


def check_answers(demo: Demo) -> None:
    health = demo.ask("/health")
    print(json.dumps(health))
    expect(health["status"] == "ok", "/health says that all is well")
    expect(health["jobs"] and not any(job["failed"] for job in health["jobs"]), "jobs ran")

    word = re.search(r"the word is (\S+)", demo.output())
    expect(word, "the report says how to sign in", demo.output())
    assert word is not None
    person = {"username": "vet", "password": word.group(1)}
    token = demo.ask("/api/tokens/", body=person)["token"]
    plate = demo.ask("/api/wheels/", token)["results"][0]["plate"]

    by_api = demo.ask(f"/api/trace/back/wheel/{plate}/", token)
    by_command = json.loads(
        subprocess.run(
            [".venv/bin/python", "manage.py", "trace", "back", "wheel", plate, "--json"],
            cwd=demo.clone,
            check=True,
            capture_output=True,
            text=True,
        ).stdout
    )
    expect(by_api["lots"] and by_command["lots"], f"trace back from wheel {plate} finds lots")
    expect(by_api["lots"] == by_command["lots"], "command and API tell the same lots")
    check_worker(demo)


def check_worker(demo: Demo) -> None:
    """Ask for a job by name and see that the worker did it."""
    before = runs(demo)
    command = [".venv/bin/python", "-m", "celery", "-A", "config.celery", "call", JOB]
    subprocess.run(command, cwd=demo.clone, check=True, capture_output=True)
    deadline = time.monotonic() + JOB_SECONDS
    while runs(demo) == before and time.monotonic() < deadline:
        time.sleep(0.2)
    expect(runs(demo) != before, f"the worker ran {JOB}")


def runs(demo: Demo) -> dict[str, str]:
    return {job["name"]: job["started_at"] for job in demo.ask("/health")["jobs"]}


def main() -> None:
    clone, port = Path(sys.argv[1]).resolve(), int(sys.argv[2])
    log = clone / ".swardline-demo.log"
    try:
        demo = Demo(clone, port, log)
        took = demo.wait_until_ready(FIRST_START_SECONDS)
        print(demo.output())
        expect(True, f"ready after {took:.1f} s, set-up included")
        check_answers(demo)
        demo.stop()
        expect(not left_running(clone), f"nothing left running {left_running(clone)}")

        again = Demo(clone, port, log)
        took = again.wait_until_ready(SECOND_START_SECONDS)
        again.stop()
        expect(True, f"second start ready after {took:.1f} s")
        expect(not left_running(clone), f"nothing left running {left_running(clone)}")
    finally:
        log.unlink(missing_ok=True)


if __name__ == "__main__":
    main()
