"""Every address of the site, as the site itself says, and an example of each."""

import re
from collections.abc import Iterator

from django.apps import apps
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests.config.whole_site import Site, pages


def routes_of(
    resolver: URLResolver, route: str = "/", namespace: str = ""
) -> Iterator[tuple[str, str]]:
    """(name with its namespace, route) of everything that answers an address."""
    for one in resolver.url_patterns:
        here = route + str(one.pattern)
        if isinstance(one, URLPattern):
            yield f"{namespace}{one.name or one.pattern}", here
        else:
            inner = f"{one.namespace}:" if one.namespace else ""
            yield from routes_of(one, here, namespace + inner)


ALL = dict(routes_of(get_resolver()))
OWN = {name for name in ALL if not name.startswith("admin:")}
#: Those of the admin site that are written as regular expressions.
BY_HAND = {
    "admin:app_list": "/admin/cells/",
    "admin:(?P<url>.*)$": "/admin/no-such-page/",
}


def example(name: str, site: Site) -> str:
    if name in OWN:
        return reverse(name, args=pages(site)[name])
    return BY_HAND.get(name) or re.sub("<.*?>", str(_first(name)), ALL[name])


def _first(name: str) -> int:
    """The id of a record that the administrator's page of this name shows."""
    model = re.fullmatch(
        r"admin:([a-z]+)_([a-z]+)_(password_change|change|delete|history)", name
    )
    record = apps.get_model(*model.groups()[:2]).objects.first() if model else None
    return record.pk if record else 1


def page(name: str, site: Site) -> str:
    """An example that has something to show."""
    chosen = f"?task={site.tasks['wipe'].pk}" if name == "complete_many" else ""
    return example(name, site) + chosen
