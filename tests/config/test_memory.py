"""What a process that serves leaves out of its looks for garbage."""

import subprocess
import sys

from config.memory import WIDE, YOUNG

ASKED = "import gc, config.wsgi; print(gc.get_threshold()[0], gc.get_freeze_count() > 100_000)"
ASKED_OF_A_WORKER = (
    "import gc, config.celery; from celery.signals import worker_process_init as signal; "
    "signal.send(None); print(gc.get_threshold()[0], gc.get_freeze_count() > 1_000)"
)


def said(asked: str) -> str:
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_a_web_process_sets_itself_apart() -> None:
    assert said(ASKED) == f"{YOUNG} True"


def test_a_worker_does_too() -> None:
    assert said(ASKED_OF_A_WORKER) == f"{YOUNG} True"


# Page faults of a loop of calls, at the depth where it has the most of them.
FAULTS = """
from resource import RUSAGE_SELF, getrusage
from config.memory import roomy

def leaf(a, b, c, d): return a
def work():
    for _ in range(2_000): leaf(1, 2, 3, 4)
def deep(n, call): return deep(n - 1, call) if n else call()
def faults(call):
    def count(n):
        before = getrusage(RUSAGE_SELF).ru_minflt
        deep(n, call)
        return getrusage(RUSAGE_SELF).ru_minflt - before
    return max(map(count, range(250)))
"""


def test_calls_of_a_page_ask_the_system_for_no_memory() -> None:
    if sys.version_info[:2] == (3, 11):
        assert int(said(FAULTS + "faults(work); print(faults(work))")) > 1_000
    assert int(said(FAULTS + "faults(roomy(work)); print(faults(roomy(work)))")) < 100


def test_a_page_is_served_with_room() -> None:
    asked = "import config.wsgi as web; print(web.application.__code__.co_stacksize)"
    assert int(said(asked)) == WIDE
