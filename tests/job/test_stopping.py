"""Ctrl-C as a person presses it: a real process, a real signal."""

import signal
import subprocess
import sys
import time

import pytest

from .test_command import everything_in

SLOW = """
import sys, time
from dataclasses import dataclass
from canthus.job import arguments, chain, listing
from canthus.steps import catalogue
from canthus.steps.step import Step

@dataclass(frozen=True)
class Close(Step):
    '''Take very long.'''
    NAME = "close"
    STAGE = "surface"
    def apply(self, piece, progress):
        print("working", flush=True)
        time.sleep(30)

for module in (catalogue, arguments, chain, listing):
    module.all_steps = lambda: (Close,)
from canthus.__main__ import run
sys.exit(run())
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent another way there")
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("words", [["close", "SCAN", "-o", "new.ply"], ["make", "SCAN", "--out", "new"]])
def test_a_signal_ends_it_with_130_and_nothing_left(words, sent, scan, tmp_path):
    before = everything_in(tmp_path)
    command = [sys.executable, "-c", SLOW, *(str(scan) if word == "SCAN" else word for word in words)]
    child = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert child.stdout.readline() == "working\n"
    time.sleep(0.1)
    child.send_signal(sent)
    _, err = child.communicate(timeout=20)
    assert child.returncode == 130
    assert err == f"canthus {words[0]}: stopped, nothing written\n"
    assert everything_in(tmp_path) == before


SEARCHING = SLOW.replace(
    "time.sleep(30)",
    """
        import threading
        def search():
            time.sleep(1.5)
            print("searched", flush=True)
        thread = threading.Thread(target=search, daemon=True)
        thread.start()
        thread.join()
        time.sleep(30)
""",
)


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent another way there")
def test_a_search_that_still_runs_is_waited_for(scan, tmp_path):
    """scipy's trees search in daemon threads; Python ending under one of them was a segmentation fault now and then."""
    command = [sys.executable, "-c", SEARCHING, "close", str(scan), "-o", "new.ply"]
    child = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert child.stdout.readline() == "working\n"
    time.sleep(0.2)
    child.send_signal(signal.SIGINT)
    time.sleep(0.2)
    child.send_signal(signal.SIGINT)  # an impatient one
    out, err = child.communicate(timeout=20)
    assert (child.returncode, out) == (130, "searched\n")
    assert err == "canthus close: stopped, nothing written\n"
