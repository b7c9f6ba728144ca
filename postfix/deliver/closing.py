"""What every writer has in common: it is closed at the end of its block, or abandoned where that ends by an error."""

from __future__ import annotations

from types import TracebackType
from typing import Self


class Closing:
    """A context manager that closes, or abandons after an exception."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self.abandon()

    def close(self) -> None:
        """Wait until everything is written; raises OutputError where something was not."""
        raise NotImplementedError

    def abandon(self) -> None:
        """End without caring for what was written."""
        raise NotImplementedError
