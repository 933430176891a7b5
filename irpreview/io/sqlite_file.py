"""What the files that are SQLite share: open as a context, whole transactions, errors that a person can read."""

from __future__ import annotations

import contextlib
import sqlite3
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping, Sequence
from types import TracebackType
from typing import Any, Self

from irpreview.errors import IrpreviewError

SQLITE_ERRORS = (sqlite3.Error, UnicodeDecodeError)
"""What a statement on a damaged file may end in: sqlite quotes what it found there, and that need not be text."""


def as_of_sqlite(error: sqlite3.Error | UnicodeDecodeError) -> sqlite3.Error:
    """An error of a statement as sqlite would have told it."""
    if isinstance(error, sqlite3.Error):
        return error
    damaged = sqlite3.DatabaseError("its pages do not fit together")
    damaged.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    return damaged


class SqliteFile(ABC):
    """An open file, used as a context. The connection is in autocommit mode: transactions begin where they are said."""

    _connection: sqlite3.Connection

    @abstractmethod
    def _told(self, error: sqlite3.Error) -> IrpreviewError:
        """What an error of sqlite means to a person, and what to do."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        """All or nothing."""
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                with contextlib.suppress(sqlite3.Error):
                    self._connection.execute("ROLLBACK")
                raise
        except sqlite3.Error as error:
            raise self._told(error) from None

    def _rows(self, text: str, values: Sequence[Any] | Mapping[str, Any] = ()) -> list[Any]:
        """Run one statement; what it gives, row by row."""
        try:
            return self._connection.execute(text, values).fetchall()
        except SQLITE_ERRORS as error:
            raise self._told(as_of_sqlite(error)) from None
