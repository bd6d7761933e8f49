"""From an empty folder to the verdict."""

import json
import os
import random
import secrets
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection

from cells import attempts, clock
from cells.moments import to_seconds
from config.drill import plant
from config.drill.browser import Browser
from config.drill.faults import Faults
from config.drill.people import Journal, Person
from config.drill.servers import Servers, has_a_server
from oee.recompute import waiting

#: None of these may be above nought.
BAD = ("lost", "doubled", "wrong", "refused")
PATIENCE_S = 90


def drill(seconds: float, seed: int, say: Callable[[str], None]) -> bool:
    """Whether nothing was lost, doubled or wrong."""
    rng = random.Random(seed)
    password = secrets.token_urlsafe(12)
    with Servers() as servers:
        say("Building a plant and starting its servers …")
        if has_a_server():
            servers.start("database")
        servers.start("broker")
        # Its end is as long as people and the account may take.
        plant.build(password, real_seconds=seconds + 2 * PATIENCE_S)
        for name in ("web", "worker", "beat"):
            servers.start(name)
        servers.wait_until_open()
        people = _people(servers.port, password, rng)
        # Ten seconds in a long drill; a short one has not that much time.
        faults = Faults(servers, rng, longest_s=min(10, seconds / 12))
        say(f"People work and faults strike for {seconds:.0f} s …")
        for person in people:
            person.start()
        faults.strike_until(time.monotonic() + seconds)
        say("The faults are over; waiting until all is answered and computed …")
        faults.end()
        _let_end(people)
        aside = _try_all_again(servers.port, password)
        until = _wait_for_the_account(servers)
        for name in ("beat", "worker", "web"):
            servers.stop(name)
        found = {**_verdict(until), "refused entries": _refused(people, say)}
        _tell(say, faults, servers, people[0].journal, found)
        say(f"set aside at the end and tried again: {aside}")
    return not any(many for name, many in found.items() if name.startswith(BAD))


def _people(port: int, password: str, rng: random.Random) -> list[Person]:
    journal = Journal()
    people = []
    for line in plant.LINES:
        browser = Browser(port)
        browser.sign_in(line, password)
        people.append(Person(line, browser, journal, random.Random(rng.random())))
    return people


def _let_end(people: list[Person]) -> None:
    """What they began they send until it is answered."""
    for person in people:
        person.stop.set()
    deadline = time.monotonic() + PATIENCE_S
    for person in people:
        person.join(max(0.0, deadline - time.monotonic()))
    unanswered = [person.name for person in people if person.is_alive()]
    for person in people:
        person.give_up.set()
    if unanswered:
        raise CommandError(f"{', '.join(unanswered)}: never answered.")


def _try_all_again(port: int, password: str) -> int:
    """As an administrator does, on the page of the running state."""
    browser = Browser(port)
    browser.sign_in(plant.LINES[0], password)
    aside = list(attempts.set_aside())
    for one in aside:
        browser.post("/running/", {"attempt": str(one.pk)})
    return len(aside)


def _wait_for_the_account(servers: Servers) -> Any:
    """Of all shifts that had ended when nothing waited: their last second."""
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        until = clock.now()
        if not waiting():
            connection.close()
            return until
        servers.start_again_who_fell()
        time.sleep(0.2)
    raise CommandError(f"{waiting()} cell-shifts were not computed in {PATIENCE_S} s.")


def _verdict(until: Any) -> dict[str, int]:
    child = subprocess.run(
        [sys.executable, "-m", "config.drill.judge", str(to_seconds(until))],
        cwd=settings.BASE_DIR,
        env=os.environ,
        capture_output=True,
        text=True,
        check=False,
    )
    if child.returncode:
        raise CommandError(f"The judge fell:\n{child.stderr}")
    verdict: dict[str, int] = json.loads(child.stdout)
    return verdict


def _refused(people: list[Person], say: Callable[[str], None]) -> int:
    refused = [words for person in people for words in person.refused]
    for words in refused[:5]:
        say(f"refused: {words}")
    return len(refused)


def _tell(
    say: Callable[[str], None],
    faults: Faults,
    servers: Servers,
    journal: Journal,
    found: dict[str, int],
) -> None:
    say("Faults:")
    for name, many in sorted(faults.amounts.items()):
        say(f"  {many:6,}  {name}")
    for words in servers.fell:
        say(f"  ended by itself: {words}")
    say("Entries that were acknowledged:")
    for name, many in sorted(journal.amounts.items()):
        say(f"  {many:6,}  {name}")
    say("Found:")
    for name, many in found.items():
        say(f"  {many:6,}  {name}")
