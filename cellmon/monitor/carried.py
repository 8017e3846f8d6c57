"""What views of earlier states worked out and still holds: each thing beside what it rests on."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar, cast

Carried = TypeVar("Carried")
Key = TypeVar("Key")


class Carrying:
    """A view that takes from those before it what nothing has touched since."""

    carried: dict[str, tuple[Any, Any]]

    def carry(self, name: str, rests_on: Any, work: Callable[[], Carried]) -> Carried:
        """Return what is worked out from no more than `rests_on`: once, while that stays as it is."""
        if name not in self.carried or self.carried[name][0] != rests_on:
            self.carried[name] = (rests_on, work())
        return cast(Carried, self.carried[name][1])

    def carry_each(
        self, name: str, rests_on: Mapping[Key, Any], work: Callable[[Key], Carried]
    ) -> dict[Key, Carried]:
        """Return what is worked out of each of some things, as `carry` does; others are let go."""
        before: dict[Key, tuple[Any, Carried]] = self.carried.get(name, (None, {}))[1]
        found: dict[Key, tuple[Any, Carried]] = {}
        for key, rests in rests_on.items():
            known = before.get(key)
            found[key] = known if known is not None and known[0] == rests else (rests, work(key))
        self.carried[name] = (None, found)
        return {key: one for key, (_, one) in found.items()}

    def carry_until(
        self,
        name: str,
        rests_on: Iterable[tuple[Key, Any]],
        work: Callable[[Key], Carried],
        *,
        enough: Callable[[list[Carried]], bool],
    ) -> list[Carried]:
        """Return what is worked out of one thing after another until that is enough, as `carry_each` does."""
        before: dict[Key, tuple[Any, Carried]] = self.carried.get(name, (None, {}))[1]
        found: dict[Key, tuple[Any, Carried]] = {}
        told: list[Carried] = []
        for key, rests in rests_on:
            known = before.get(key)
            found[key] = known if known is not None and known[0] == rests else (rests, work(key))
            told.append(found[key][1])
            if enough(told):
                break
        self.carried[name] = (None, found)
        return told
