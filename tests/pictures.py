"""The pictures of the README: python -m tests.pictures

Opens the whole demo, signs in as those whose day it is, and pictures the first page of
each into config/pictures. Needs what the tests need: Chromium and the packages for
development.
"""

import os
import re
import sys
import tempfile
from pathlib import Path
from typing import Any

from config.processes import Child, free_port
from tests.browser import a_chromium
from tests.live import wait_until

CHECKOUT = Path(__file__).resolve().parents[1]
PICTURES = CHECKOUT / "config" / "pictures"
SCREEN = {"width": 1280, "height": 800}
#: The picture's name, and whose first page it shows.
SIGN_INS = {"planner": "planner", "leader": "leader", "plant": "plant-manager"}
LARGEST = 250_000  # bytes: a README is read over slow lines too
PATIENCE_S = 300


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        environment = {
            name: value
            for name, value in os.environ.items()
            if name not in ("DATABASE_URL", "REDIS_URL", "SECRET_KEY", "DEBUG", "DEMO")
        }
        log = Path(folder) / "demo.log"
        command = [sys.executable, "manage.py", "demo", "--port", str(free_port())]
        demo = Child(
            "demo", command, log=log, environment={**environment, "VAR_DIR": folder}
        )
        try:
            wait_until(lambda: "Ctrl-C" in log.read_text() or not demo.runs, PATIENCE_S)
            assert demo.runs, demo.last_words()
            take_all(log.read_text())
        finally:
            demo.stop(60)


def take_all(words: str) -> None:
    """`words`: what the demo said when it was open."""
    address = _said(r"(http://127\.0\.0\.1:\d+)", words)
    password = _said(r"password (\S+)", words)
    with a_chromium() as chromium:
        for name, username in SIGN_INS.items():
            context = chromium.new_context(
                base_url=address, locale="en-GB", viewport=SCREEN, color_scheme="light"
            )
            page = context.new_page()
            sign_in(page, username, password)
            path = PICTURES / f"{name}.png"
            page.screenshot(path=path)
            size = path.stat().st_size
            print(f"{path.relative_to(CHECKOUT)}: {size:,} bytes")
            assert size <= LARGEST, f"{path} has over {LARGEST:,} bytes."
            context.close()


def sign_in(page: Any, username: str, password: str) -> None:
    page.goto("/sign-in/")
    page.get_by_label("Username").fill(username)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()
    page.wait_for_load_state("networkidle")


def _said(pattern: str, words: str) -> str:
    found = re.search(pattern, words)
    assert found, words
    return found[1]


if __name__ == "__main__":
    main()
