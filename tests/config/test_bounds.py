"""How much may be sent to a page: a bound for the whole, the fields and each text."""

import importlib
import pkgutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import time_machine
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

import cells
import maintenance
import oee
from tests.builders import NOW
from tests.config.tables import everything
from tests.config.whole_site import Site, make_site

MANY = 5_001


@pytest.fixture(autouse=True)
def _monday_noon() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def site(db: None) -> Site:
    return make_site()


@pytest.fixture
def admin(site: Site, client_of: Callable[[Any], Client]) -> Client:
    return client_of(site.cast.people.admin)


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        pytest.param({"why": "x" * 2_600_000}, "Too much was sent", id="bytes"),
        pytest.param(
            {f"f{n}": "" for n in range(MANY)}, "Too many fields", id="fields"
        ),
        pytest.param({"task": list(range(MANY))}, "Too many fields", id="a list"),
        pytest.param(
            {"file": SimpleUploadedFile("stops.csv", b"x" * 5_000_000)},
            "A file was sent",
            id="a file",
        ),
    ],
)
@pytest.mark.parametrize("name", ["area_add", "reasons", "login"])
def test_what_exceeds_a_bound_is_refused_with_a_sentence(
    name: str, sent: dict[str, Any], words: str, admin: Client
) -> None:
    before = everything()
    answer = admin.post(reverse(name), sent)

    assert answer.status_code == 413
    assert words in answer.content.decode()
    assert everything() == before


def test_no_file_is_written_anywhere_while_it_comes(
    admin: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile._mkstemp_inner", None)  # it would break
    file = SimpleUploadedFile("stops.csv", b"x" * 5_000_000)

    assert admin.post(reverse("area_add"), {"file": file}).status_code == 413


def forms_of_the_site() -> Iterator[type[forms.BaseForm]]:
    for room in (cells, maintenance, oee):
        for module in pkgutil.walk_packages(room.__path__, f"{room.__name__}."):
            if "migrations" not in module.name:
                importlib.import_module(module.name)
    yield from _below(forms.BaseForm)


def _below(form: type[Any]) -> Iterator[type[Any]]:
    for one in form.__subclasses__():
        if one.__module__.startswith(("cells.", "maintenance.", "oee.")):
            yield one
        yield from _below(one)


def test_every_text_of_every_form_has_a_bound() -> None:
    texts = {
        f"{form.__module__}.{form.__name__}.{name}": field.max_length
        for form in forms_of_the_site()
        for name, field in getattr(form, "base_fields", {}).items()
        if isinstance(field, forms.CharField)
    }

    assert len(texts) > 60
    assert [name for name, most in texts.items() if not most or most > 2000] == []


def test_no_form_asks_for_a_file() -> None:
    fields = [
        field
        for form in forms_of_the_site()
        for field in getattr(form, "base_fields", {}).values()
    ]

    assert len(fields) > 150
    assert not any(isinstance(field, forms.FileField) for field in fields)
