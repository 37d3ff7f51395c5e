"""The page in a real browser: no script runs and nothing is asked for, whatever the words of the report are.

A server on loopback counts what is asked for. The twin without our escaping shows that the attempts would work.
"""

from __future__ import annotations

import http.server
import shutil
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from report.hostile import STRINGS, hostile
from report.test_forms import WEEK

from troubleshoot.report.blocks import Report
from troubleshoot.report.html import as_html

BROWSER = next((found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), "")
pytestmark = pytest.mark.skipif(not BROWSER, reason="no chromium here")


@pytest.fixture
def server() -> Iterator[tuple[str, list[str]]]:
    asked: list[str] = []

    class Counts(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(204)
            self.end_headers()

        def log_message(self, *args: object) -> None:
            return

    running = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Counts)
    thread = threading.Thread(target=running.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{running.server_port}", asked
    running.shutdown()
    running.server_close()


def opened(page: str, tmp_path: Path, *more: str) -> str:
    """What the browser has made of the page after everything had time to run."""
    path = tmp_path / "page.html"
    path.write_text(page, encoding="utf-8", errors="replace")
    done = subprocess.run(
        [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
         f"--user-data-dir={tmp_path / 'profile'}", "--virtual-time-budget=3000", *more, "--dump-dom", path.as_uri()],
        capture_output=True, text=True, timeout=180, check=True,
    )  # fmt: skip
    assert "<body" in done.stdout
    return done.stdout


def ran(dom: str) -> bool:
    return 'id="owned"' in dom.partition("<body")[2][:200]


def test_no_script_runs_and_nothing_is_asked_for(server: tuple[str, list[str]], tmp_path: Path) -> None:
    url, asked = server
    dom = opened(as_html(hostile(url)), tmp_path)
    assert not ran(dom)
    assert asked == []


def test_even_if_a_word_got_through_as_markup_the_policy_holds_it(
    server: tuple[str, list[str]], tmp_path: Path
) -> None:
    url, asked = server
    raw = "".join(s.replace("{url}", url) for s in STRINGS[:5])
    dom = opened(as_html(hostile(url)).replace("<main>", f"<main>{raw}"), tmp_path)
    assert not ran(dom)
    assert asked == []


def test_without_escaping_and_policy_the_same_words_would_act(server: tuple[str, list[str]], tmp_path: Path) -> None:
    url, asked = server
    raw = "".join(s.replace("{url}", url) for s in STRINGS[:3])
    dom = opened(f"<!DOCTYPE html><html><body>{raw}</body></html>", tmp_path)
    assert ran(dom)
    assert asked


@pytest.mark.parametrize("width", [1000, 1400])
def test_no_column_of_the_weeks_table_is_cut_off(width: int, tmp_path: Path) -> None:
    page = as_html(Report("week", (WEEK,)))
    # Our pages run no script, so a twin measures itself.
    twin = page.replace('http-equiv="Content-Security-Policy"', 'name="was-policy"').replace(
        "</body>",
        """<script>
        const over = document.querySelector(".over"), last = document.querySelector("th:last-child").getBoundingClientRect();
        document.body.id = `wide-${over.scrollWidth <= over.clientWidth && last.right <= innerWidth}`;
        </script></body>""",
    )
    dom = opened(twin, tmp_path, f"--window-size={width},900")
    assert 'id="wide-true"' in dom
