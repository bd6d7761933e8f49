"""The cache, which may be gone: pages are then slower and otherwise the same."""

import logging
import time
from collections.abc import Callable
from typing import Any

from django.core.cache.backends.redis import RedisCache, RedisCacheClient
from redis.exceptions import RedisError

logger = logging.getLogger(__name__)

# After a failure the server is left alone for so long, so that a page that asks the
# cache ten times does not wait ten times.
REST_SECONDS = 5.0


class ForgivingClient(RedisCacheClient):
    """A Redis that does not answer is a cache that holds nothing."""

    _rests_until = 0.0

    def _ask(self, question: Callable[..., Any], *args: Any, otherwise: Any) -> Any:
        if time.monotonic() < self._rests_until:
            return otherwise
        try:
            return question(*args)
        except RedisError as error:
            logger.warning("The cache does not answer, going on without: %s", error)
            self._rests_until = time.monotonic() + REST_SECONDS
            return otherwise

    def add(self, key: Any, value: Any, timeout: Any) -> bool:
        return self._ask(super().add, key, value, timeout, otherwise=True)

    def get(self, key: Any, default: Any) -> Any:
        return self._ask(super().get, key, default, otherwise=default)

    def set(self, key: Any, value: Any, timeout: Any) -> None:
        self._ask(super().set, key, value, timeout, otherwise=None)

    def touch(self, key: Any, timeout: Any) -> bool:
        return self._ask(super().touch, key, timeout, otherwise=False)

    def delete(self, key: Any) -> bool:
        return self._ask(super().delete, key, otherwise=False)

    def get_many(self, keys: Any) -> Any:
        return self._ask(super().get_many, keys, otherwise={})

    def has_key(self, key: Any) -> bool:
        return self._ask(super().has_key, key, otherwise=False)

    def set_many(self, data: Any, timeout: Any) -> None:
        self._ask(super().set_many, data, timeout, otherwise=None)

    def delete_many(self, keys: Any) -> None:
        self._ask(super().delete_many, keys, otherwise=None)

    def clear(self) -> bool:
        return self._ask(super().clear, otherwise=False)

    # incr is left as it is: a counter in a cache that may be gone counts nothing.


class ForgivingRedisCache(RedisCache):
    def __init__(self, server: str, params: dict[str, Any]) -> None:
        super().__init__(server, params)
        self._class = ForgivingClient
