"""Promises over all members of the house, kept by tests."""

import ast
import re
from pathlib import Path

import pytest

from api.command import COMMANDS
from drivers.config import Config
from logger.events import KINDS

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("logger", "drivers", "api", "simulators")
SOURCES = sorted(path for room in ROOMS for path in (ROOT / room).rglob("*.py"))
TEXTS = [
    *SOURCES,
    *sorted((ROOT / "tests").rglob("*.py")),
    *ROOT.glob("*.md"),
    *ROOT.glob("docs/*.md"),
]


def identify(path):
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", SOURCES, ids=identify)
def test_every_module_says_in_its_first_line_what_it_is_for(path):
    text = path.read_text("utf-8")

    assert not text.strip() or ast.get_docstring(ast.parse(text)), path


@pytest.mark.parametrize("path", SOURCES, ids=identify)
def test_no_file_is_a_junk_drawer(path):
    assert not re.search(r"(util|helper|manager|common|misc)s?\b", path.stem)


@pytest.mark.parametrize(
    "path", [p for p in SOURCES if p.parts[-2:] != ("drivers", "clock.py")], ids=identify
)
def test_only_the_clock_reads_the_wall_clock(path):
    names = {
        f"{node.value.id}.{node.attr}"
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)
    }
    allowed = (
        {"time.time", "time.time_ns"} if identify(path) == "simulators/kitchen_time.py" else set()
    )

    assert not (names & {"time.time", "time.time_ns", "datetime.now", "datetime.utcnow"}) - allowed


@pytest.mark.parametrize("path", TEXTS, ids=identify)
def test_nothing_is_left_unfinished_or_skipped(path):
    if path == Path(__file__):
        return
    words = r"\bTODO\b|\bFIXME\b|\bXXX\b|NotImplementedError|mark\.skip|mark\.xfail|pytest\.skip\("

    assert not re.search(words, path.read_text("utf-8"))


def test_every_setting_is_in_the_docs():
    text = (ROOT / "docs" / "formats.md").read_text("utf-8")
    missing = []
    for key, field in Config.model_fields.items():
        inner = field.annotation
        if key == "instrument":
            from drivers.config import InstrumentConfig as inner  # noqa: N813
        for name in getattr(inner, "model_fields", {"": None}):
            if f"`{name or key}`" not in text and f"`{key}.{name}`" not in text:
                missing.append(f"{key}.{name}")

    assert not missing


def test_every_command_is_in_the_readme():
    text = (ROOT / "README.md").read_text("utf-8")

    assert [name for name in COMMANDS if name not in text] == []


def test_every_event_kind_is_in_the_docs():
    text = (ROOT / "docs" / "formats.md").read_text("utf-8")

    assert [kind for kind in KINDS if f"`{kind}`" not in text] == []


def test_every_topic_is_in_the_docs():
    from drivers.topics import Topics

    text = (ROOT / "docs" / "formats.md").read_text("utf-8")
    kinds = [
        name
        for name in vars(Topics)
        if not name.startswith("_") and name not in ("kitchen", "parse", "every")
    ]

    assert [kind for kind in kinds if f"`{kind}" not in text] == []
