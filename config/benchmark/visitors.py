"""Fifty signed-in people read their pages at once: how long does each page take?

The demo's plant on the demo's web server. First everybody reads, a page every few
seconds; then nobody pauses, which shows how many pages a second the server makes. The
visitors share the cores with it, and nothing listens beyond this machine.
"""

import os
import random
import subprocess
import threading
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http import HTTPStatus
from http.client import HTTPConnection, HTTPException
from itertools import cycle
from statistics import quantiles
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.auth.models import Group, User
from django.contrib.sessions.backends.db import SessionStore
from django.utils import timezone

from cells.models import Cell, Duty, Line
from cells.rights import Role
from config.benchmark import Say
from config.benchmark.home import FOLDER, manage
from config.benchmark.plant import empty_database
from config.demo.plant.description import Plant
from config.demo.plant.files import write_plant
from config.demo.plants import SMALL, plant_of
from config.demo.servers import web_command
from config.processes import Child, free_port
from oee.models import CellShift

PEOPLE = 50
SEED = 50
PAUSES = (2.0, 8.0)  # seconds that a person looks at a page
#: Seconds of the two rounds: with pauses, and without.
ROUNDS = ((24.0, True), (8.0, False))
SHORT_ROUNDS = ((3.0, True), (1.0, False))
PATIENCE = 30.0  # seconds until an answer is an error


@dataclass(frozen=True, kw_only=True)
class Visitor:
    cookie: str
    pages: list[tuple[str, str]]  # the kind of each page, and its address


@dataclass(frozen=True, kw_only=True)
class Visit:
    kind: str
    seconds: float
    fault: str  # empty: the page came


def run(say: Say, *, small: bool) -> None:
    which = SMALL if small else str(timezone.now().date())
    plant = plant_of(which)
    environment = clock_of(plant)
    build(plant, environment)
    say(f"{plant.name}: {CellShift.objects.count():,} cell-shifts")
    visitors = make_visitors(PEOPLE)
    with web_server(environment) as port:
        look_once(port, visitors)
        for seconds, pauses in SHORT_ROUNDS if small else ROUNDS:
            began = time.perf_counter()
            visits = let_them_read(port, visitors, seconds=seconds, pauses=pauses)
            took = time.perf_counter() - began
            for line in report(visits, took=took, pauses=pauses):
                say(line)


def clock_of(plant: Plant) -> dict[str, str]:
    """What sets a process to the moment for which the plant was made."""
    offset = round(plant.now.timestamp() - time.time())
    return {**os.environ, "DEMO": "yes", "CLOCK_OFFSET": str(offset)}


def build(plant: Plant, environment: dict[str, str]) -> None:
    """In processes of its clock: a running shift must not be taken for an ended one."""
    empty_database()
    files = FOLDER / "files"
    write_plant(files, plant)
    for words in (["load_plant", str(files)], ["compute_oee"]):
        subprocess.run(manage(*words), env=environment, check=True, capture_output=True)


# Who they are, and what they read


def make_visitors(number: int) -> list[Visitor]:
    """Mostly leaders, as in a plant; each with the pages of a day's work."""
    with_cells = Line.objects.filter(cells__isnull=False).distinct()
    lines = cycle(with_cells.select_related("area").order_by("code"))
    makers = cycle(
        (_leader, _leader, _technician, _area_manager, _leader, _planner, _manager)
    )
    return [
        _sign_in(number, *make(next(lines)))
        for number, make in zip(range(number), makers, strict=False)
    ]


Pages = list[tuple[str, str]]
Place = dict[str, Any]  # area= or line= of the person's duty


def _leader(line: Line) -> tuple[Role, Place, Pages]:
    cell = quote(_cell_of(line).code)
    mine = f"/shift/?line={quote(line.code)}"
    pages = [
        ("shift", mine),
        ("shift, one cell", f"{mine}&cell={cell}"),
        ("shift", mine),
        ("line today", f"/lines/{quote(line.code)}/?period=today"),
    ]
    return Role.TEAM_LEADER, {"line": line}, pages


def _technician(line: Line) -> tuple[Role, Place, Pages]:
    cell = quote(_cell_of(line).code)
    pages = [("stopped", "/stopped/"), ("cell", f"/cells/{cell}/")]
    return Role.TECHNICIAN, {"area": line.area}, pages


def _area_manager(line: Line) -> tuple[Role, Place, Pages]:
    area = quote(line.area.code)
    pages = [
        ("area", f"/areas/{area}/"),
        ("area today", f"/areas/{area}/?period=today"),
        ("ranking", f"/ranking/?area={area}"),
    ]
    return Role.AREA_MANAGER, {"area": line.area}, pages


def _planner(line: Line) -> tuple[Role, Place, Pages]:
    pages = [("due", "/due/"), ("due", f"/due/?area={quote(line.area.code)}")]
    return Role.PLANNER, {}, pages


def _manager(line: Line) -> tuple[Role, Place, Pages]:
    pages = [
        ("plant", "/plant/"),
        ("ranking", "/ranking/"),
        ("plant today", "/plant/?period=today"),
        ("ranking", "/ranking/?by=all"),
    ]
    return Role.PLANT_MANAGER, {}, pages


def _cell_of(line: Line) -> Cell:
    return Cell.objects.filter(line=line).order_by("code")[0]


def _sign_in(number: int, role: Role, duty: Place, pages: Pages) -> Visitor:
    """Without the form: its hashing is slow on purpose, and comes once a shift."""
    user = User.objects.create(username=f"visitor-{number}")
    user.groups.add(Group.objects.get(name=role.value))
    if duty:
        Duty.objects.create(user=user, **duty)
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[-1]
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.create()
    cookie = f"{settings.SESSION_COOKIE_NAME}={session.session_key}"
    return Visitor(cookie=cookie, pages=pages)


# The server, and the reading


@contextmanager
def web_server(environment: dict[str, str]) -> Iterator[int]:
    port = free_port()
    address = {"BASE_ADDRESS": f"http://127.0.0.1:{port}"}
    child = Child(
        "web",
        web_command(port),
        log=FOLDER / "web.log",
        environment={**environment, **address},
    )
    try:
        deadline = time.monotonic() + PATIENCE
        while read(port, "/sign-in/", cookie=""):
            if not child.runs or time.monotonic() > deadline:
                raise RuntimeError(f"The web server said:\n{child.last_words()}")
            time.sleep(0.1)
        yield port
    finally:
        child.stop()


def look_once(port: int, visitors: list[Visitor]) -> None:
    """Every page, one after the other: what is measured is a site that is in use."""
    for visitor in visitors:
        for _, address in visitor.pages:
            fault = read(port, address, cookie=visitor.cookie)
            if fault:
                raise RuntimeError(f"{address} did not come: {fault}.")


def let_them_read(
    port: int, visitors: list[Visitor], *, seconds: float, pauses: bool
) -> list[Visit]:
    """All of them at once, each a page after the other until the time is over."""
    ends = time.monotonic() + seconds
    visits: list[Visit] = []
    threads = [
        threading.Thread(
            target=_one_reads, args=(port, visitor, number, ends, pauses, visits)
        )
        for number, visitor in enumerate(visitors)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return visits


def _one_reads(
    port: int,
    visitor: Visitor,
    number: int,
    ends: float,
    pauses: bool,
    visits: list[Visit],
) -> None:
    rng = random.Random(SEED + number)
    if pauses:  # they do not all come in at the same moment
        time.sleep(rng.uniform(0, PAUSES[1]))
    for kind, address in cycle(visitor.pages):
        if time.monotonic() > ends:
            return
        began = time.perf_counter()
        fault = read(port, address, cookie=visitor.cookie)
        took = time.perf_counter() - began
        visits.append(Visit(kind=kind, seconds=took, fault=fault))
        if pauses:
            time.sleep(rng.uniform(*PAUSES))


def read(port: int, address: str, *, cookie: str) -> str:
    """The whole page, as a browser with its redirects. Returns the fault, if any."""
    connection = HTTPConnection("127.0.0.1", port, timeout=PATIENCE)
    try:
        for _ in range(3):
            connection.request("GET", address, headers={"Cookie": cookie})
            answer = connection.getresponse()
            answer.read()
            if answer.status != HTTPStatus.FOUND:
                break
            address = answer.headers["Location"]
        return "" if answer.status == HTTPStatus.OK else f"status {answer.status}"
    except (OSError, HTTPException) as fault:
        return type(fault).__name__
    finally:
        connection.close()


# What came of it


def report(visits: list[Visit], *, took: float, pauses: bool) -> Iterator[str]:
    how = f"a page every {sum(PAUSES) / 2:.0f} s each" if pauses else "without a pause"
    yield (
        f"{PEOPLE} people at once, {how}: {len(visits) / took:.1f} pages a second, "
        f"{sum(bool(visit.fault) for visit in visits)} errors"
    )
    by_kind = defaultdict(list)
    for visit in visits:
        by_kind[visit.kind].append(visit.seconds)
        by_kind["all"].append(visit.seconds)
    for kind, taken in sorted(by_kind.items(), key=lambda item: item[0] == "all"):
        yield (
            f"  {kind:16} {len(taken):5} pages, p50 {milliseconds(taken, 50):6.0f} ms, "
            f"p95 {milliseconds(taken, 95):6.0f} ms"
        )
    for fault in sorted({visit.fault for visit in visits if visit.fault}):
        yield f"  {fault}: {sum(visit.fault == fault for visit in visits)} times"


def milliseconds(taken: list[float], percent: int) -> float:
    """Of so many percent of the pages, the slowest."""
    if len(taken) == 1:
        return 1000 * taken[0]
    return 1000 * quantiles(taken, n=100, method="inclusive")[percent - 1]
