"""What every test may ask for."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# No clock decides a test: a slow machine must not turn a law of physics false. On the build machine the examples are
# the same every night, so that a red build is red again tomorrow; at home they are new each time and find more.
settings.register_profile("home", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", parent=settings.get_profile("home"), derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "home")

ROOT = Path(__file__).resolve().parent.parent

# Files that take over twenty seconds, begun first: whatever comes last keeps one core busy while the others stand still.
LONGEST = (
    "scenes/test_scenes_80x24.py",
    "scenes/test_scenes_120x40.py",
    "against/test_dense.py",
    "trees/test_grow.py",
    "trees/test_how_to_page.py",
    "against/test_hazards_against.py",
    "tui/test_real_terminal.py",
    "tui/test_term_matrix.py",
    "job/test_keeping.py",
    "safety/test_words.py",
    "job/test_cautions.py",
    "against/test_dense_power.py",
    "safety/test_hazard_pages.py",
    "against/test_dense_program.py",
    "job/test_worked_on.py",
    "job/test_safety_relay.py",
    "job/test_scene_c.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first; all others in the order of their names."""
    rank = {ROOT / "tests" / name: k for k, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.path, len(rank)))


# No test writes into the index of whoever runs it; those of the index name one of their own.
os.environ["TROUBLESHOOT_INDEX"] = "off"


@pytest.fixture(scope="session")
def root() -> Path:
    """Folder of this checkout."""
    return ROOT


@pytest.fixture(scope="session")
def fresh_python() -> Callable[[str], str]:
    """Run code in a new interpreter and get what it printed; for questions about what was really imported."""

    def run(code: str) -> str:
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False
        )
        if done.returncode:
            raise AssertionError(f"exit {done.returncode} from a fresh Python:\n{done.stderr}")
        return done.stdout

    return run


def _tool(name: str) -> str:
    """Path of an outside program; without it the test is left out at home and fails on the build machine."""
    if found := shutil.which(name):
        return found
    if os.environ.get("CI"):
        pytest.fail(f"{name} is missing, and this machine is the one that must have it")
    pytest.skip(f"{name} is not installed")


@pytest.fixture(scope="session")
def ngspice() -> str:
    """The general circuit simulator that our numbers are held against."""
    return _tool("ngspice")


@pytest.fixture(scope="session")
def tmux() -> str:
    """A real terminal of a known size."""
    return _tool("tmux")
