"""The demo as a newcomer meets it: started, used, interrupted, killed."""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from http.cookiejar import CookieJar
from io import StringIO
from pathlib import Path
from typing import Any
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, ProxyHandler, build_opener

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError, OutputWrapper

from config.broker import new_address
from config.demo.bar import Bar
from config.demo.people import PEOPLE
from config.processes import free_port
from tests.config.test_processes import is_running
from tests.live import wait_until

pytestmark = [pytest.mark.demo, pytest.mark.live]

CHECKOUT = Path(__file__).resolve().parents[2]
DEMO = [sys.executable, "manage.py", "demo", "--small", "--port"]
# All the demo's processes, but on a database without a plant, which is quicker.
SERVERS = """
import time, django
django.setup()
from django.core.management import call_command
from config.demo import home
from config.demo.servers import Servers
with home.take(), Servers() as servers:
    servers.start_broker()
    call_command("migrate", verbosity=0)
    servers.start_web({port})
    servers.start_jobs()
    servers.wait_until_open()
    print("Ctrl-C", flush=True)
    time.sleep(600)
"""


class Run:
    """A started command, its words, and the processes that it started."""

    def __init__(
        self, command: list[str], folder: Path, environment: dict[str, str]
    ) -> None:
        self._log = folder / "words"
        with self._log.open("w") as log:
            self.process = subprocess.Popen(
                command, cwd=CHECKOUT, env=environment, stdout=log, stderr=log
            )

    @property
    def words(self) -> str:
        return self._log.read_text()

    def wait_until_open(self) -> None:
        wait_until(
            lambda: "Ctrl-C" in self.words or self.process.poll() is not None, 180
        )
        assert self.process.poll() is None, self.words

    def family(self) -> set[int]:
        """The children, and the children's children."""
        found, asked = set(), [self.process.pid]
        while asked:
            pid = asked.pop()
            children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
            asked += [int(child) for child in children]
            found |= {int(child) for child in children}
        return found

    def end(self, number: signal.Signals) -> int:
        self.process.send_signal(number)
        return self.process.wait(60)


def environment(folder: Path, **more: str) -> dict[str, str]:
    """The caller's without the tests' own servers, and a folder to write in."""
    ours = ("DATABASE_URL", "REDIS_URL", "SECRET_KEY", "DJANGO_SETTINGS_MODULE")
    kept = {name: value for name, value in os.environ.items() if name not in ours}
    return {**kept, "VAR_DIR": str(folder), **more}


@pytest.fixture
def runs(tmp_path: Path) -> Iterator[list[Run]]:
    """Whatever a failed test left running is ended."""
    started: list[Run] = []
    yield started
    for run in started:
        if run.process.poll() is None:
            run.end(signal.SIGTERM)


def is_signed_in(address: str, username: str, password: str) -> bool:
    cookies = CookieJar()
    browser = build_opener(HTTPCookieProcessor(cookies), ProxyHandler({}))
    page = browser.open(f"{address}/sign-in/").read().decode()
    token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)
    assert token
    form = {
        "username": username,
        "password": password,
        "csrfmiddlewaretoken": token[1],
    }
    browser.open(f"{address}/sign-in/", urlencode(form).encode()).read()
    return "sessionid" in {cookie.name for cookie in cookies}


def listening_addresses(port: int) -> set[str]:
    """Of this machine, in the kernel's hexadecimal writing."""
    rows = [
        line.split()
        for table in ("tcp", "tcp6")
        for line in Path(f"/proc/net/{table}").read_text().splitlines()[1:]
    ]
    listening = "0A"
    ends = [row[1].split(":") for row in rows if row[3] == listening]
    return {address for address, end in ends if int(end, 16) == port}


def test_the_demo_opens_for_every_role_and_leaves_nothing_behind(
    tmp_path: Path, runs: list[Run]
) -> None:
    port = free_port()
    demo = Run([*DEMO, str(port), "--live"], tmp_path, environment(tmp_path))
    runs.append(demo)
    demo.wait_until_open()
    address = re.search(r"http://127\.0\.0\.1:\d+", demo.words)
    password = re.search(r"password (\S+)", demo.words)
    assert address
    assert password
    # Broker, worker and its child, beat, life, web and its children.
    wait_until(lambda: len(demo.family()) >= 8)
    family = demo.family()

    for person in PEOPLE:
        assert is_signed_in(address[0], person.username, password[1])
    assert not is_signed_in(address[0], PEOPLE[0].username, "a wrong guess")
    assert listening_addresses(port) == {"0100007F"}  # 127.0.0.1
    assert "60 times as fast as the clock" in demo.words
    life = (tmp_path / "demo" / "life.log").read_text()
    assert "was refused" not in life
    assert "Traceback" not in life
    assert not (tmp_path / "plant.sqlite3").exists()

    (tmp_path / "second").mkdir()
    second = Run([*DEMO, str(port)], tmp_path / "second", environment(tmp_path))
    runs.append(second)
    assert second.process.wait(60) == 1
    assert "running from this folder already" in second.words

    assert demo.end(signal.SIGINT) == 0
    assert [pid for pid in family if is_running(pid)] == []


def test_a_killed_demo_leaves_nothing_behind(tmp_path: Path, runs: list[Run]) -> None:
    demo = Run(
        [sys.executable, "-c", SERVERS.format(port=free_port())],
        tmp_path,
        environment(
            tmp_path,
            DATABASE_URL=f"sqlite:///{tmp_path}/demo/plant.sqlite3",
            DEMO="yes",
            REDIS_URL=new_address(),
            DJANGO_SETTINGS_MODULE="config.settings",
            SECRET_KEY="for-the-tests-only",
        ),
    )
    runs.append(demo)
    demo.wait_until_open()
    family = demo.family()
    assert len(family) >= 6

    demo.end(signal.SIGKILL)

    wait_until(lambda: not any(is_running(pid) for pid in family))


@pytest.mark.parametrize(
    ("port", "more", "reason"),
    [
        pytest.param(
            "8000",
            {"DATABASE_URL": "sqlite:///kept.sqlite3"},
            "DATABASE_URL is set.",
            id="a database that somebody keeps",
        ),
        pytest.param(
            "8000",
            {"REDIS_URL": "redis://127.0.0.1:1/0"},
            "REDIS_URL names a Redis that does not answer.",
            id="a Redis that is down",
        ),
        pytest.param(
            "8000",
            {"DEMO": "yes"},
            "which is not the demo's own",
            id="demo settings without its database",
        ),
        pytest.param("80", {}, "--port is 80.", id="a port that is not for us"),
    ],
)
def test_the_demo_refuses(
    port: str, more: dict[str, str], reason: str, tmp_path: Path, runs: list[Run]
) -> None:
    demo = Run([*DEMO, port], tmp_path, environment(tmp_path, **more))
    runs.append(demo)

    assert demo.process.wait(60) == 1
    assert reason in demo.words
    assert not (CHECKOUT / "kept.sqlite3").exists()
    assert not (tmp_path / "demo").exists()


@pytest.mark.parametrize(
    ("options", "reason"),
    [
        ({"speed": 5}, "--speed is 5, but only a live demo runs faster"),
        ({"live": True, "speed": 0}, "--speed is 0. Give a whole number from 1"),
        ({"live": True, "speed": 601}, "--speed is 601. Give a whole number from 1"),
    ],
)
def test_a_speed_is_a_live_demos_and_has_bounds(
    options: dict[str, Any], reason: str
) -> None:
    with pytest.raises(CommandError, match=re.escape(reason)):
        call_command("demo", **options)


class Screen(StringIO):
    """A terminal, or what stands in a log."""

    def __init__(self, *, is_terminal: bool) -> None:
        super().__init__()
        self.is_terminal = is_terminal

    def isatty(self) -> bool:
        return self.is_terminal


def build_on(screen: Screen) -> str:
    bar = Bar(OutputWrapper(screen), {"Making": 1, "Loading": 3})
    with bar.step("Making"):
        pass
    with bar.step("Loading") as tell:
        tell(1, 2, "stops.csv")
    bar.finish()
    return screen.getvalue()


def test_one_bar_grows_over_the_whole_build_on_a_terminal() -> None:
    drawn = build_on(Screen(is_terminal=True)).split("\r")[1:]

    shares = [int(re.search(r"(\d+)%", text)[1]) for text in drawn]  # type: ignore[index]
    assert shares == [0, 25, 25, 62, 100]
    assert "Loading stops.csv" in drawn[3]
    assert all("\n" not in text for text in drawn[:-1])


def test_where_there_is_no_terminal_the_build_says_a_line_a_step() -> None:
    lines = build_on(Screen(is_terminal=False)).splitlines()

    assert [line.split(":")[0].strip() for line in lines[:2]] == ["Making", "Loading"]
    assert len(lines) == 3
