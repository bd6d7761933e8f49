"""A person's browser: keeps cookies, sends forms, and tells what came back."""

import http.client
import re
from http.cookies import SimpleCookie
from typing import NamedTuple
from urllib.parse import urlencode


class NoAnswer(Exception):
    """Nobody knows whether it was kept: send it again."""


class Answer(NamedTuple):
    status: int
    to: str  # where it redirects
    text: str


class Browser:
    def __init__(
        self, port: int, patience: float = 15, cookies: dict[str, str] | None = None
    ) -> None:
        self._port = port
        self._patience = patience
        self._cookies = dict(cookies or {})

    def get(self, path: str) -> Answer:
        return self._ask("GET", path, None)

    def post(self, path: str, form: dict[str, str]) -> Answer:
        token = {"csrfmiddlewaretoken": self._cookies.get("csrftoken", "")}
        return self._ask("POST", path, urlencode({**form, **token}))

    def sign_in(self, name: str, password: str) -> None:
        self.get("/sign-in/")
        form = {"username": name, "password": password}
        answer = self.post("/sign-in/", form)
        if answer.status != http.client.FOUND:
            raise NoAnswer(f"{name} was not let in ({answer.status}).")

    def seen(self, path: str) -> str:
        """The hidden number of a correction's form."""
        found = re.search(r'name="seen" value="(\d+)"', self.get(path).text)
        return found[1] if found else ""

    def _ask(self, method: str, path: str, body: str | None) -> Answer:
        headers = {
            "Cookie": "; ".join(f"{key}={it}" for key, it in self._cookies.items()),
            "Content-Type": "application/x-www-form-urlencoded",
        }
        line = http.client.HTTPConnection(
            "127.0.0.1", self._port, timeout=self._patience
        )
        try:
            line.request(method, path, body, headers)
            answer = line.getresponse()
            text = answer.read().decode()
        except (OSError, http.client.HTTPException) as error:
            raise NoAnswer(f"{type(error).__name__}: {error}") from error
        finally:
            line.close()
        for cookie in answer.headers.get_all("Set-Cookie", []):
            for key, morsel in SimpleCookie(cookie).items():
                self._cookies[key] = morsel.value
        if answer.status >= http.client.INTERNAL_SERVER_ERROR:
            raise NoAnswer(f"{answer.status}")
        return Answer(answer.status, answer.headers.get("Location", ""), text)
