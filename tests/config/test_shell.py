"""The shell that every page stands in, and the pages that stand for a fault."""

from types import SimpleNamespace

import pytest
from django import forms
from django.contrib.auth.models import User
from django.contrib.messages import constants
from django.contrib.messages.storage.base import Message
from django.template import Context, Engine
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

ROOMS = [
    {"name": "Plant", "href": "/plant/", "current": False},
    {"name": "Due", "href": "/due/", "current": True},
]


def shell(**context):
    return " ".join(render_to_string("base.html", context).split())


def test_the_room_one_is_in_is_marked():
    page = shell(rooms=ROOMS)

    assert '<a href="/due/" aria-current="page">Due</a>' in page
    assert '<a href="/plant/">Plant</a>' in page


def test_the_header_says_who_is_signed_in_and_in_which_role():
    user = User(username="petra", first_name="Petra", last_name="Lindqvist")
    page = shell(request=SimpleNamespace(user=user), role="planner")

    assert "planner · Petra Lindqvist" in page
    assert f'<form method="post" action="{reverse("logout")}"' in page


def test_a_stranger_is_not_offered_to_sign_out():
    assert "Sign out" not in shell()


def test_the_caution_stands_under_every_page():
    assert "It is no safety function" in shell()


def test_only_the_demo_says_that_it_is_one():
    assert "made-up plant" in shell(demo_clock=True)
    assert "made-up plant" not in shell()


def test_a_message_starts_with_what_its_colour_says():
    page = shell(
        messages=[
            Message(constants.ERROR, "the stop ends before it starts."),
            Message(constants.SUCCESS, "Saved."),
        ]
    )
    assert "<b>Not done:</b> the stop ends before it starts." in page
    assert '<p class="message success">Saved.</p>' in page


@pytest.mark.parametrize(
    "template",
    ["base.html", "500.html", "database.html", "registration/login.html"],
)
def test_no_page_carries_inline_script_or_style(template):
    page = render_to_string(template)

    assert "<style" not in page
    assert "style=" not in page
    assert page.count("<script") == page.count("<script src=")


def test_a_field_is_told_by_its_label_and_its_fault():
    class Stop(forms.Form):
        minutes = forms.IntegerField(help_text="Whole minutes.", min_value=1)

    html = str(Stop({"minutes": "-4"}))

    assert '<label for="id_minutes">Minutes</label>' in html
    assert 'aria-describedby="id_minutes_helptext id_minutes_error"' in html
    assert 'class="errorlist" id="id_minutes_error"' in html


@pytest.mark.django_db
def test_an_address_that_leads_nowhere_says_so(client: Client):
    response = client.get("/no-such-room/")

    assert response.status_code == 404
    assert "There is no such page" in response.content.decode()


@pytest.mark.django_db
def test_a_form_without_its_token_saves_nothing_and_says_why():
    client = Client(enforce_csrf_checks=True)
    response = client.post(reverse("login"), {"username": "petra", "password": "x"})

    assert response.status_code == 403
    assert "too old to save from" in response.content.decode()


def test_a_broken_page_still_tells_what_to_do():
    # Django renders it without any context.
    assert "what you sent was not saved" in render_to_string("500.html")


@pytest.mark.django_db
def test_the_sign_in_page_is_in_the_shell(client: Client):
    page = client.get(reverse("login")).content.decode()

    assert 'class="floor"' in page
    assert '<label for="id_username">' in page


def test_the_headers_clock_leaves_the_pages_own_now_alone():
    page = Engine.get_default().from_string(
        '{% extends "base.html" %}{% block content %}<b>{{ now }}</b>{% endblock %}'
    )
    assert "<b>13:20</b>" in page.render(Context({"now": "13:20"}))
