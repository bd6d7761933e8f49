"""Who gets in, who is slowed down, and how one gets out again."""

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine
from axes.models import AccessAttempt
from django.contrib.auth import hashers
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse

from cells.models import Change
from config.jobs import forget_sign_ins
from tests.builders import make_user

pytestmark = pytest.mark.django_db

PASSWORD = "a-word-that-only-tests-know"
NOON = datetime(2026, 3, 2, 11, tzinfo=UTC)
HERE, ELSEWHERE = "10.0.0.7", "10.0.0.8"

Clock = time_machine.Traveller


@pytest.fixture(autouse=True)
def clock() -> Iterator[Clock]:
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def petra() -> User:
    return User.objects.create_user("petra", password=PASSWORD)


@pytest.fixture
def tom() -> User:
    return User.objects.create_user("tom", password=PASSWORD)


def sign_in(client: Client, name: str, password: str = PASSWORD, **more: Any) -> Any:
    return client.post(
        reverse("login"),
        {"username": name, "password": password},
        REMOTE_ADDR=more.pop("address", HERE),
        **more,
    )


def guess_wrong(
    client: Client, clock: Clock, times: int = 5, name: str = "petra", **more: Any
) -> list[int]:
    """Each as soon as it is allowed."""
    statuses = []
    for number in range(times):
        answer = sign_in(client, name, "a wrong guess", **more)
        statuses.append(answer.status_code)
        clock.shift(2**number)
    return statuses


def signed_in_as(client: Client) -> str | None:
    return client.session.get("_auth_user_id")


def is_let_in(client: Client, user: User, **more: Any) -> bool:
    sign_in(client, user.username, **more)
    return signed_in_as(client) == str(user.pk)


def test_a_stranger_is_asked_to_sign_in(client: Client) -> None:
    response = client.get("/admin/auth/user/", follow=True)

    assert response.redirect_chain[-1][0] == "/sign-in/?next=/admin/auth/user/"


def test_a_person_signs_in_with_their_password(client: Client, petra: User) -> None:
    assert is_let_in(client, petra)


# Slowed down


@pytest.mark.parametrize(("guesses", "seconds"), [(1, 1), (2, 2), (3, 4), (4, 8)])
def test_each_wrong_guess_makes_the_next_wait_longer(
    guesses: int, seconds: int, client: Client, clock: Clock, petra: User
) -> None:
    guess_wrong(client, clock, guesses - 1)
    sign_in(client, "petra", "a wrong guess")

    early = sign_in(client, "petra")
    clock.shift(seconds)

    assert early.status_code == 429
    assert f"wait {seconds} s and try again." in early.content.decode()
    assert is_let_in(client, petra)


def test_what_comes_too_early_is_not_looked_at_and_not_counted(
    client: Client, clock: Clock, petra: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    sign_in(client, "petra", "a wrong guess")
    monkeypatch.setattr(hashers, "verify_password", None)  # it would break
    for _ in range(20):
        assert sign_in(client, "petra", "a wrong guess").status_code == 429
    monkeypatch.undo()
    clock.shift(1)

    assert is_let_in(client, petra)


def test_after_signing_in_the_guesses_are_forgotten(
    client: Client, clock: Clock, petra: User
) -> None:
    guess_wrong(client, clock, 4)
    assert is_let_in(client, petra)

    assert sign_in(client, "petra", "a wrong guess").status_code == 200


# Locked out, for a while and from one address only


def test_five_wrong_guesses_lock_the_name_out(
    client: Client, clock: Clock, petra: User
) -> None:
    assert guess_wrong(client, clock) == [200, 200, 200, 200, 429]

    response = sign_in(client, "petra")
    assert response.status_code == 429
    assert "Wait a quarter of an hour" in response.content.decode()
    assert signed_in_as(client) is None


def test_the_lock_ends_after_a_quarter_of_an_hour_whatever_is_tried_meanwhile(
    client: Client, clock: Clock, petra: User
) -> None:
    guess_wrong(client, clock)
    for _ in range(14):
        clock.shift(60)
        assert sign_in(client, "petra", "a wrong guess").status_code == 429
    clock.shift(60)

    assert is_let_in(client, petra)


def test_nobody_locks_out_the_others_of_a_hall_behind_one_address(
    client: Client, clock: Clock, tom: User
) -> None:
    for name in ("petra", "paul", "pia", "nobody-at-all"):
        guess_wrong(client, clock, name=name)

    assert is_let_in(client, tom)


def test_nobody_locks_a_colleague_out_from_elsewhere(
    client: Client, clock: Clock, petra: User
) -> None:
    guess_wrong(client, clock, address=ELSEWHERE)

    assert is_let_in(client, petra)


@pytest.mark.parametrize(
    "forged", [{"HTTP_X_FORWARDED_FOR": "10.9.9.{}"}, {"HTTP_USER_AGENT": "one {}"}]
)
def test_who_guesses_gets_no_more_tries_by_calling_himself_another(
    forged: dict[str, str], client: Client, clock: Clock, petra: User
) -> None:
    for number in range(5):
        said = {name: value.format(number) for name, value in forged.items()}
        guess_wrong(client, clock, 1, **said)
        clock.shift(16)

    assert sign_in(client, "petra").status_code == 429


@pytest.mark.parametrize("written", ["petra ", "ｐetra", " petra"])
def test_a_name_written_otherwise_is_the_same_name(
    written: str, client: Client, clock: Clock, petra: User
) -> None:
    guess_wrong(client, clock, 4)
    guess_wrong(client, clock, 1, name=written)

    assert sign_in(client, "petra").status_code == 429


def test_behind_a_proxy_the_address_is_the_browsers(
    client: Client, clock: Clock, petra: User, settings: Any
) -> None:
    settings.AXES_CLIENT_IP_CALLABLE = "config.middleware.address_behind_proxy"
    proxy = {"address": "127.0.0.1"}
    guess_wrong(client, clock, HTTP_X_REAL_IP=ELSEWHERE, **proxy)

    locked = sign_in(client, "petra", HTTP_X_REAL_IP=ELSEWHERE, **proxy)
    assert locked.status_code == 429
    assert is_let_in(client, petra, HTTP_X_REAL_IP=HERE, **proxy)


@pytest.mark.parametrize("said", ["", "x" * 300, "10.0.0.7, 10.9.9.9", "\u0661"])
def test_an_address_that_is_none_is_not_believed(
    said: str, client: Client, settings: Any
) -> None:
    settings.AXES_CLIENT_IP_CALLABLE = "config.middleware.address_behind_proxy"
    answer = sign_in(client, "petra", HTTP_X_REAL_IP=said, address=ELSEWHERE)

    assert answer.status_code == 200
    assert AccessAttempt.objects.get().ip_address == ELSEWHERE


def test_a_lock_tells_no_other_site_anything(
    client: Client, clock: Clock, petra: User
) -> None:
    guess_wrong(client, clock)
    answer = sign_in(client, "petra", HTTP_X_REQUESTED_WITH="XMLHttpRequest")

    assert answer.status_code == 429
    assert "Access-Control-Allow-Origin" not in answer


# Who there is, is not told


def test_a_name_that_nobody_has_is_answered_as_a_wrong_password_is(
    client: Client, petra: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    hashed: list[str] = []
    hasher = type(hashers.get_hasher())
    encode = hasher.encode

    def counted(self: Any, password: str, *args: Any, **kwargs: Any) -> str:
        hashed.append(password)
        return str(encode(self, password, *args, **kwargs))

    monkeypatch.setattr(hasher, "encode", counted)
    make_user("without-password")
    User.objects.create_user("gone", password=PASSWORD, is_active=False)
    pages = set()
    for name in ("petra", "nobody", "without-password", "gone"):
        del hashed[:]
        answer = sign_in(client, name, "a wrong guess")
        without_token = re.sub(r"\w{64}", "", answer.content.decode())
        pages.add(without_token.replace(name, "…"))
        assert (answer.status_code, len(hashed)) == (200, 1)

    assert len(pages) == 1


def test_a_name_that_nobody_has_is_locked_out_as_well(
    client: Client, clock: Clock
) -> None:
    assert guess_wrong(client, clock, name="nobody") == [200, 200, 200, 200, 429]


# Sessions


def test_signing_in_gives_the_browser_another_session(
    client: Client, petra: User
) -> None:
    client.cookies["sessionid"] = "a-session-that-somebody-planted"
    session = client.session
    session["planted"] = True
    session.save()
    planted = session.session_key
    client.cookies["sessionid"] = planted
    sign_in(client, "petra")

    assert client.cookies["sessionid"].value not in (planted, "")
    assert not Session.objects.filter(session_key=planted).exists()


def test_signing_out_ends_the_session_for_good(client: Client, petra: User) -> None:
    sign_in(client, "petra")
    kept = client.cookies["sessionid"].value
    client.post(reverse("logout"))
    client.cookies["sessionid"] = kept

    assert client.get("/plant/").status_code == 302
    assert not Session.objects.filter(session_key=kept).exists()


def test_another_persons_link_signs_nobody_out(client: Client, petra: User) -> None:
    sign_in(client, "petra")

    assert client.get(reverse("logout")).status_code == 405
    assert signed_in_as(client) == str(petra.pk)


def test_a_new_password_ends_the_sessions_of_the_old_one(
    client: Client, petra: User, client_of: Callable[[Any], Client]
) -> None:
    sign_in(client, "petra")
    admin = client_of(make_user("admin", superuser=True))
    new = {"password1": "another-word-than-before", "usable_password": "true"}
    changed = admin.post(
        reverse("admin:auth_user_password_change", args=[petra.pk]),
        {**new, "password2": new["password1"]},
    )

    assert changed.status_code == 302
    assert client.get("/plant/").status_code == 302
    assert Change.objects.get(kind="user", record_id=petra.pk).door == "admin"


def test_who_is_made_inactive_is_out_at_once(client: Client, petra: User) -> None:
    sign_in(client, "petra")
    User.objects.update(is_active=False)

    assert client.get("/plant/").status_code == 302


# What is kept, and forgotten


def test_nobody_keeps_who_signed_in_when(client: Client, petra: User) -> None:
    from axes.models import AccessFailureLog, AccessLog

    sign_in(client, "petra", "a wrong guess")
    sign_in(client, "tom", "a wrong guess")
    sign_in(client, "tom")

    assert not AccessLog.objects.exists()
    assert not AccessFailureLog.objects.exists()


def test_no_password_is_kept_with_a_wrong_guess(client: Client, petra: User) -> None:
    sign_in(client, "petra", "nearly-my-password")
    [guess] = AccessAttempt.objects.values()

    assert "nearly-my-password" not in str(guess)


def test_old_guesses_and_ended_sessions_are_cleared_at_night(
    client: Client, clock: Clock, petra: User
) -> None:
    sign_in(client, "petra")
    clock.shift(3600)
    other = Client()
    sign_in(other, "petra")
    sign_in(client, "nobody", "a wrong guess")
    clock.shift(11.5 * 3600)
    forget_sign_ins()
    assert Session.objects.get().session_key == other.cookies["sessionid"].value
    assert AccessAttempt.objects.count() == 1

    clock.shift(13 * 3600)
    forget_sign_ins()

    assert not Session.objects.exists()
    assert not AccessAttempt.objects.exists()


def test_an_administrator_lets_somebody_in_again_and_it_stands_in_the_trail(
    client: Client, clock: Clock, petra: User, client_of: Callable[[Any], Client]
) -> None:
    guess_wrong(client, clock)
    admin = client_of(make_user("admin", superuser=True))
    attempt = AccessAttempt.objects.get()
    admin.post(
        reverse("admin:axes_accessattempt_delete", args=[attempt.pk]), {"post": "yes"}
    )

    assert is_let_in(client, petra)
    change = Change.objects.get()
    assert (change.record_id, change.by.get_username()) == (petra.pk, "admin")
    assert "forgotten" in change.new


@pytest.mark.browser
def test_the_sign_in_page_works_in_a_browser(page_of: Any, axe_faults: Any) -> None:
    page = page_of(None)

    page.goto(reverse("login"))

    assert page.get_by_role("button", name="Sign in").is_visible()
    assert axe_faults(page) == []
