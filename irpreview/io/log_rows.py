"""How the field log writes: every change one transaction that remembers each row as it was, so it can be undone."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from irpreview.errors import BadLog
from irpreview.io.log_tables import TABLES, bad_log
from irpreview.io.sqlite_file import SqliteFile

MOST_CHANGES_KEPT = 200
Step = tuple[str, int, dict[str, Any] | None, dict[str, Any] | None]
"""(table, number of the row, row as it was or None where it is new, None where it was taken out)."""


@dataclass(slots=True)
class Change:
    """What a change is called; known better once it is done."""

    words: str


class LogRows(SqliteFile):
    """Rows in and out of the log's tables."""

    path: Path
    _steps: list[Step]

    def undo(self) -> str:
        """Take the last change back; returns what it was. Raises BadLog when there is none."""
        with self._transaction():
            last = self._one("SELECT * FROM changes ORDER BY id DESC LIMIT 1")
            if last is None:
                raise BadLog(f"the log {self.path} has no change left to undo")
            for table, number, before, after in reversed(json.loads(last["steps"])):
                assert table in TABLES
                if before is None:
                    self._connection.execute(f"DELETE FROM {table} WHERE id = ?", (number,))
                elif after is None:
                    self._raw_insert(table, before)
                else:
                    self._raw_update(table, number, before)
            self._connection.execute("DELETE FROM changes WHERE id = ?", (last["id"],))
        return str(last["words"])

    @contextlib.contextmanager
    def _change(self, words: str) -> Iterator[Change]:
        """One transaction that remembers each row as it was, for `undo`."""
        self._steps = []
        change = Change(words)
        with self._transaction():
            yield change
            if not self._steps:  # nothing to take back
                return
            self._connection.execute(
                "INSERT INTO changes (made_at, words, steps) VALUES (?, ?, ?)",
                (datetime.now(UTC).isoformat(timespec="seconds"), change.words, json.dumps(self._steps)),
            )
            self._connection.execute(
                "DELETE FROM changes WHERE id <= (SELECT max(id) FROM changes) - ?", (MOST_CHANGES_KEPT,)
            )

    def _insert(self, table: str, row: Mapping[str, Any]) -> int:
        number = self._raw_insert(table, row)
        self._steps.append((table, number, None, {}))
        return number

    def _update(self, table: str, number: int, row: Mapping[str, Any]) -> None:
        before = self._one(f"SELECT * FROM {table} WHERE id = ?", (number,))
        assert before is not None
        self._raw_update(table, number, row)
        self._steps.append((table, number, dict(before), {}))

    def _delete(self, table: str, number: int) -> None:
        before = self._one(f"SELECT * FROM {table} WHERE id = ?", (number,))
        assert before is not None
        self._connection.execute(f"DELETE FROM {table} WHERE id = ?", (number,))
        self._steps.append((table, number, dict(before), None))

    def _raw_insert(self, table: str, row: Mapping[str, Any]) -> int:
        names = ", ".join(row)
        marks = ", ".join(f":{name}" for name in row)
        number = self._connection.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", dict(row)).lastrowid
        assert number is not None
        return number

    def _raw_update(self, table: str, number: int, row: Mapping[str, Any]) -> None:
        if row:
            sets = ", ".join(f"{name} = :{name}" for name in row)
            self._connection.execute(f"UPDATE {table} SET {sets} WHERE id = :id", {**row, "id": number})

    def _one(self, text: str, values: Sequence[Any] | Mapping[str, Any] = ()) -> sqlite3.Row | None:
        return next(iter(self._rows(text, values)), None)

    def _told(self, error: sqlite3.Error) -> BadLog:
        return bad_log(self.path, error)
