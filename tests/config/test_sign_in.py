"""Who gets in, and what the browser is told."""

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

pytestmark = pytest.mark.django_db

PASSWORD = "a-word-that-only-tests-know"


@pytest.fixture
def petra() -> User:
    return User.objects.create_user("petra", password=PASSWORD)


def sign_in(client: Client, name: str, password: str) -> Any:
    return client.post(reverse("login"), {"username": name, "password": password})


def signed_in_as(client: Client) -> str | None:
    return client.session.get("_auth_user_id")


def test_a_stranger_is_asked_to_sign_in(client: Client) -> None:
    response = client.get("/admin/auth/user/")

    assert response.status_code == 302
    assert "?next=/admin/auth/user/" in response["Location"]


def test_a_person_signs_in_with_their_password(client: Client, petra: User) -> None:
    sign_in(client, "petra", PASSWORD)

    assert signed_in_as(client) == str(petra.pk)


def test_five_wrong_guesses_lock_the_name_out(client: Client, petra: User) -> None:
    for _ in range(5):
        sign_in(client, "petra", "a wrong guess")

    response = sign_in(client, "petra", PASSWORD)
    assert response.status_code == 429
    assert "Wait a quarter of an hour" in response.content.decode()
    assert signed_in_as(client) is None


def test_wrong_guesses_lock_out_nobody_else_on_the_tablet(
    client: Client, petra: User
) -> None:
    tom = User.objects.create_user("tom", password=PASSWORD)
    for _ in range(5):
        sign_in(client, "petra", "a wrong guess")

    sign_in(client, "tom", PASSWORD)

    assert signed_in_as(client) == str(tom.pk)


def test_every_page_forbids_what_it_does_not_bring_itself(client: Client) -> None:
    response = client.get(reverse("login"))

    policy = response["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert response["X-Frame-Options"] == "DENY"
    assert response["Referrer-Policy"] == "same-origin"
    assert response["X-Content-Type-Options"] == "nosniff"


@pytest.mark.browser
def test_the_sign_in_page_works_in_a_browser(page_of: Any, axe_faults: Any) -> None:
    page = page_of(None)

    page.goto(reverse("login"))

    assert page.get_by_role("button", name="Sign in").is_visible()
    assert axe_faults(page) == []
