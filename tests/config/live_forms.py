"""The forms that the pages show, as a browser would send them untouched."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from django.test.html import Element, parse_html

Pairs = list[tuple[str, str]]


@dataclass(frozen=True)
class LiveForm:
    method: str  # get or post
    address: str  # without a question
    pairs: tuple[tuple[str, str], ...]  # a get form's are its question
    question: str = ""  # of the address, in a post form


def forms_on(content: str, address: str) -> Iterator[LiveForm]:
    """One for each button of each form; a form may have several that differ."""
    for form in _all(parse_html(content), "form"):
        fields = dict(form.attributes)
        method = (fields.get("method") or "get").lower()
        action = urlsplit(fields.get("action") or address)
        pairs = [pair for one in _inside(form) for pair in _sent(one)]
        pairs = [pair for pair in pairs if pair[0] != "csrfmiddlewaretoken"]
        for button in _buttons(form):
            yield LiveForm(
                method,
                action.path or urlsplit(address).path,
                (*pairs, *button),
                action.query if fields.get("action") else urlsplit(address).query,
            )


def questions_on(content: str, address: str) -> Iterator[LiveForm]:
    """What the page's own links ask of it."""
    for link in _all(parse_html(content), "a"):
        target = urlsplit(dict(link.attributes).get("href") or "")
        if target.query and not target.netloc:
            path = target.path or urlsplit(address).path
            yield LiveForm("get", path, tuple(parse_qsl(target.query)))


def _all(tree: Any, name: str) -> Iterator[Element]:
    return (one for one in _inside(tree) if one.name == name)


def _inside(tree: Any) -> Iterator[Element]:
    for child in getattr(tree, "children", ()):
        if isinstance(child, Element):
            yield child
            yield from _inside(child)


def _buttons(form: Element) -> list[Pairs]:
    found = []
    for one in _all(form, "button"):
        fields = dict(one.attributes)
        name = fields.get("name")
        found.append([(name, fields.get("value") or "")] if name else [])
    return found or [[]]


def _sent(one: Element) -> Pairs:
    fields = dict(one.attributes)
    name, kind = fields.get("name"), fields.get("type")
    if not name:
        return []
    if one.name == "input":
        ticked = kind not in ("checkbox", "radio") or "checked" in fields
        return [(name, fields.get("value") or "")] if ticked else []
    if one.name == "textarea":
        return [(name, _text(one))]
    if one.name == "select":
        options = [dict(option.attributes) for option in _all(one, "option")]
        chosen = [option for option in options if "selected" in option] or options[:1]
        return [(name, option.get("value") or "") for option in chosen]
    return []


def _text(one: Element) -> str:
    return "".join(child for child in one.children if isinstance(child, str)).strip()
