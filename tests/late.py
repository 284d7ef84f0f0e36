"""Things that are made when a test first asks for them: every process collects all tests, and runs a part of them."""

from collections.abc import Callable, Iterator, Mapping
from typing import Generic, TypeVar

Made = TypeVar("Made")


class Late(Mapping[str, Made], Generic[Made]):
    """Names and what is made for each, once."""

    def __init__(self, makers: Mapping[str, Callable[[], Made]]) -> None:
        """makers: what makes each."""
        self._makers, self._made = makers, dict[str, Made]()

    def __getitem__(self, name: str) -> Made:
        if name not in self._made:
            self._made[name] = self._makers[name]()
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._makers)

    def __len__(self) -> int:
        return len(self._makers)
