"""The kitchen's saved formulas: every version ever saved, in a database of the api's own.

Nothing in it is overwritten or deleted. A batch does not read from here once it is open: its
formulas entered the log with the mark that opened it.
"""

from __future__ import annotations

import fcntl
import json
import re
import sqlite3
import unicodedata
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlite_utils import Database, Migrations

from api.given import fit
from logger.document import Document
from logger.formula import read_formula
from logger.formula.pantry import Pantry

FILE_NAME = "kitchen.db"
LOCK_NAME = "kitchen.lock"
BUSY_S = 5.0
LONGEST_NAME = 200
LONGEST_ADDRESS = 60

# STRICT, as the log's tables; a step that was once released is never edited.
TABLES: dict[str, str] = {
    # name_folded is what tells two names apart; address is the name as a link can carry it.
    "formula": """CREATE TABLE formula (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        name_folded TEXT NOT NULL UNIQUE,
        address TEXT NOT NULL UNIQUE
    ) STRICT""",
    # text: the TOML as it was saved, NULL where a JSON document was; document: what it says.
    "formula_version": """CREATE TABLE formula_version (
        formula INTEGER NOT NULL REFERENCES formula (id),
        version INTEGER NOT NULL CHECK (version >= 1),
        saved_us INTEGER NOT NULL,
        text TEXT,
        document TEXT NOT NULL,
        PRIMARY KEY (formula, version)
    ) STRICT, WITHOUT ROWID""",
    "formula_version_stays": """CREATE TRIGGER formula_version_stays
        BEFORE UPDATE ON formula_version
        BEGIN SELECT RAISE(ABORT, 'a saved version is never changed'); END""",
    "formula_version_remains": """CREATE TRIGGER formula_version_remains
        BEFORE DELETE ON formula_version
        BEGIN SELECT RAISE(ABORT, 'a saved version is never deleted'); END""",
}

steps = Migrations("coolcrumb-kitchen")


@steps(name="0001 saved formulas")
def _lay_down(db: Database) -> None:
    for statement in TABLES.values():
        db.execute(statement)


class FormularyError(Exception):
    """The saved formulas cannot be read or written; `path` is their file."""

    def __init__(self, path: Path, text: str) -> None:
        super().__init__(text)
        self.path = path
        self.text = text

    def __reduce__(self) -> tuple[type[FormularyError], tuple[Path, str]]:
        return (type(self), (self.path, self.text))


@dataclass(frozen=True, slots=True)
class SavedName:
    """A formula by name.

    Attributes:
        name: as its latest version has it.
        address: the name as it stands in links: letters, digits and hyphens, one of a kind.
        latest: number of its latest version, from 1.
        saved_us: when that was saved.
    """

    name: str
    address: str
    latest: int
    saved_us: int


@dataclass(frozen=True, slots=True)
class SavedFormula:
    """One saved version.

    Attributes:
        name, address: as `SavedName`; the name as this version has it.
        version: from 1.
        saved_us: when it was saved.
        text: TOML as it was saved; None where a JSON document was.
        content: what the formula says.
    """

    name: str
    address: str
    version: int
    saved_us: int
    text: str | None
    content: dict[str, Any]

    @property
    def document(self) -> Document:
        """As `logger.formula.read_formula` takes it; complaints name the version and the line."""
        return Document(
            self.content, f"{self.name} (saved version {self.version})", self.text or ""
        )


def folded(name: str) -> str:
    """What tells two names apart: neither case nor spacing nor the way an accent is encoded."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def address_of(name: str) -> str:
    """A name as a link can carry it: accents off, the rest letters, digits and hyphens.

    >>> address_of("Möhrentorte / 24 cm")
    'mohrentorte-24-cm'
    """
    bare = unicodedata.normalize("NFKD", name.casefold())
    letters = "".join(c for c in bare if not unicodedata.combining(c))
    out = re.sub(r"[^a-z0-9]+", "-", letters)[:LONGEST_ADDRESS].strip("-")
    return out or "formula"


class Formulary:
    """The saved formulas in `folder`; may be asked from several threads and processes.

    Nothing is opened, and no file made, before the first formula is saved.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE_NAME
        self._lock_path = folder / LOCK_NAME

    def save(self, document: Document, pantry: Pantry, now_us: int) -> tuple[SavedFormula, bool]:
        """Check a formula and keep it as the next version of its name; gives it, and if it is new.

        What is there already is not saved twice: the same text, or (where it has no text of its
        own) the same content, answers the version that holds it.

        Args:
            document: TOML or JSON.
            pantry: the ingredients it is checked against.
            now_us: kitchen time.

        Raises:
            FileError: it cannot be used.
            FormularyError: the file cannot be read or written.
        """
        document = fit(document)
        name = " ".join(read_formula(document, pantry).name.split())
        if len(name) > LONGEST_NAME or not name.isprintable():
            raise document.error(
                ("name",),
                f"a name has at most {LONGEST_NAME} letters, all of them visible",
                "shorten it",
            )
        text = document.text.replace("\r\n", "\n") or None
        body = json.dumps(document.content, ensure_ascii=False)
        content = json.loads(body)
        with self._writing() as connection:
            formula, address = self._formula(connection, name)
            for row in connection.execute(f"{_VERSION} WHERE f.id = ? ORDER BY 3", (formula,)):
                known = _saved(row)
                if (text is not None and known.text == text) or (
                    text is None and known.content == content
                ):
                    return known, False
            version = (
                1
                + connection.execute(
                    "SELECT coalesce(max(version), 0) FROM formula_version WHERE formula = ?",
                    (formula,),
                ).fetchone()[0]
            )
            connection.execute("UPDATE formula SET name = ? WHERE id = ?", (name, formula))
            connection.execute(
                "INSERT INTO formula_version (formula, version, saved_us, text, document)"
                " VALUES (?, ?, ?, ?, ?)",
                (formula, version, now_us, text, body),
            )
            return SavedFormula(name, address, version, now_us, text, content), True

    def names(self) -> list[SavedName]:
        """Every formula by name, with its latest version."""
        with self._reading() as connection:
            if connection is None:
                return []
            rows = connection.execute(
                "SELECT f.name, f.address, v.version, v.saved_us"
                " FROM formula f JOIN formula_version v ON v.formula = f.id"
                " WHERE v.version = (SELECT max(version) FROM formula_version WHERE formula = f.id)"
                " ORDER BY f.name_folded"
            )
            return [SavedName(*row) for row in rows]

    def versions(self, name: str) -> list[SavedFormula]:
        """All versions of a formula, the first first; empty where there is none of that name.

        Args:
            name: its name, or its address.
        """
        with self._reading() as connection:
            if connection is None:
                return []
            formula = connection.execute(
                "SELECT id FROM formula WHERE address = ? OR name_folded = ?"
                " ORDER BY address = ? DESC",
                (name, folded(name), name),
            ).fetchone()
            if formula is None:
                return []
            return [
                _saved(row)
                for row in connection.execute(f"{_VERSION} WHERE f.id = ? ORDER BY 3", formula)
            ]

    def version(self, name: str, version: int | None = None) -> SavedFormula | None:
        """One version of a formula, by default the latest; None where there is no such one."""
        versions = self.versions(name)
        if version is None:
            return versions[-1] if versions else None
        return next((saved for saved in versions if saved.version == version), None)

    def _formula(self, connection: sqlite3.Connection, name: str) -> tuple[int, str]:
        """Row and address of the formula with this name, made where it is new."""
        row = connection.execute(
            "SELECT id, address FROM formula WHERE name_folded = ?", (folded(name),)
        ).fetchone()
        if row is not None:
            return int(row[0]), str(row[1])
        wanted = address = address_of(name)
        taken = {str(row[0]) for row in connection.execute("SELECT address FROM formula")}
        nth = 1
        while address in taken:
            nth += 1
            address = f"{wanted}-{nth}"
        made = connection.execute(
            "INSERT INTO formula (name, name_folded, address) VALUES (?, ?, ?)",
            (name, folded(name), address),
        )
        assert made.lastrowid is not None
        return made.lastrowid, address

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """A transaction; one writer at a time, whatever process it is in."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self._locked(), closing(self._connect()) as connection:
                connection.execute("BEGIN IMMEDIATE")
                try:
                    yield connection
                except BaseException:
                    connection.execute("ROLLBACK")
                    raise
                connection.execute("COMMIT")
        except (OSError, sqlite3.Error) as error:
            raise FormularyError(self.path, f"{self.path} cannot be written: {error}") from error

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection | None]:
        """A connection to read with; None before anything was saved."""
        try:
            if not self.path.exists():
                yield None
                return
            with self._locked():  # whoever opens it first also brings it up to date
                connection = self._connect()
            with closing(connection):
                yield connection
        except (OSError, sqlite3.Error) as error:
            raise FormularyError(self.path, f"{self.path} cannot be read: {error}") from error

    @contextmanager
    def _locked(self) -> Iterator[None]:
        with self._lock_path.open("a") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield

    def _connect(self) -> sqlite3.Connection:
        connection = sqlite3.connect(self.path, timeout=BUSY_S, isolation_level=None)
        try:
            connection.execute("PRAGMA journal_mode=WAL")
            connection.execute("PRAGMA synchronous=FULL")
            connection.execute("PRAGMA foreign_keys=ON")
            db = Database(connection)
            known = {step.name for step in steps._migrations}
            if newer := [step.name for step in steps.applied(db) if step.name not in known]:
                raise FormularyError(
                    self.path,
                    f"{self.path} was written by a newer version ({newer[0]!r}); "
                    "install that version",
                )
            if steps.pending(db):
                steps.apply(db)
        except BaseException:
            connection.close()
            raise
        return connection


_VERSION = (
    "SELECT f.name, f.address, v.version, v.saved_us, v.text, v.document"
    " FROM formula f JOIN formula_version v ON v.formula = f.id"
)


def _saved(row: tuple[Any, ...]) -> SavedFormula:
    content: dict[str, Any] = json.loads(row[5])
    name = " ".join(str(content.get("name", row[0])).split())
    return SavedFormula(name, row[1], row[2], row[3], row[4], content)
