"""Saved formulas: every version stays, what is known is not saved twice, a batch keeps its own."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

import pytest
from click.testing import CliRunner
from fabricated_log import PLAN
from served import Served, wait_for

from api.command import main
from api.formulary import Formulary, FormularyError, address_of
from logger.document import Document, FileError
from logger.pantry import shipped

Serve = Callable[[str | None], Served]

FIRST = """name = "Shortbread"   # the plain one

[[line]]
ingredient = "all-purpose flour"
amount = "300 g"

[[line]]
ingredient = "butter"
amount = "200 g"

[[line]]
ingredient = "granulated sugar"
amount = "1/2 cup"
"""
SECOND = FIRST.replace("200 g", "220 g") + '\n[[line]]\ningredient = "salt"\namount = "3 g"\n'


@pytest.fixture
def formulary(tmp_path: Path) -> Formulary:
    return Formulary(tmp_path)


def toml(text: str) -> Document:
    return Document.parse(text.encode(), "shortbread.formula.toml")


def named(name: str, grams: int = 100) -> Document:
    line = {"ingredient": "butter", "amount": f"{grams} g"}
    return Document({"name": name, "line": [line]}, "formula")


def test_each_version_is_kept_as_it_was_written(formulary: Formulary) -> None:
    formulary.save(toml(FIRST), shipped(), 1)

    saved, new = formulary.save(toml(SECOND), shipped(), 2)

    first, second = formulary.versions("Shortbread")
    assert (saved.version, new) == (2, True)
    assert (first.text, second.text) == (FIRST, SECOND)
    assert (first.saved_us, second.saved_us) == (1, 2)
    assert second.content["line"][1]["amount"] == "220 g"
    assert formulary.version("Shortbread") == second


def test_what_is_known_is_answered_and_not_saved_twice(formulary: Formulary) -> None:
    first, _ = formulary.save(toml(FIRST), shipped(), 1)
    formulary.save(toml(SECOND), shipped(), 2)

    again, new = formulary.save(toml(FIRST.replace("\n", "\r\n")), shipped(), 3)
    as_json, new_json = formulary.save(Document(first.content, "formula"), shipped(), 4)

    assert (again, new) == (first, False)
    assert (as_json, new_json) == (first, False)
    assert len(formulary.versions("Shortbread")) == 2


def test_a_changed_comment_is_a_version_too_for_nothing_written_is_lost(
    formulary: Formulary,
) -> None:
    formulary.save(toml(FIRST), shipped(), 1)

    saved, new = formulary.save(toml(FIRST.replace("the plain one", "mother's")), shipped(), 2)

    assert (saved.version, new) == (2, True)


def test_names_are_told_apart_by_neither_case_nor_spacing_nor_encoding(
    formulary: Formulary,
) -> None:
    formulary.save(named("Möhrentorte"), shipped(), 1)

    saved, _ = formulary.save(named("  MO\u0308HREN\tTORTE".replace("\t", ""), 120), shipped(), 2)

    assert saved.version == 2
    assert [row.latest for row in formulary.names()] == [2]


def test_two_names_never_share_an_address(formulary: Formulary) -> None:
    names = ["Cake / 1", "Cake 1", "cake-1-2", "蛋糕", "..", "O" * 200]

    addresses = [formulary.save(named(name), shipped(), 1)[0].address for name in names]

    assert len(set(addresses)) == len(names)
    for name, address in zip(names, addresses, strict=True):
        assert address == quote(address, safe="")
        assert formulary.versions(address)[0].name == name


def test_an_address_is_the_name_in_letters_that_links_carry() -> None:
    assert address_of("Pear & Ginger layer cake") == "pear-ginger-layer-cake"
    assert address_of("Crème brûlée, 12 cm") == "creme-brulee-12-cm"
    assert address_of("蛋糕") == "formula"


@pytest.mark.parametrize(
    ("document", "word"),
    [
        (named("x" * 201), "200"),
        (named("bell\a"), "visible"),
        (Document({"name": "x", "line": [{"ingredient": "butter", "amount": "0 g"}]}, "f"), "0 g"),
        (Document({**named("x").content, "portions": float("nan")}, "f"), "nan"),
        (Document({"name": "\ud800", "line": named("x").content["line"]}, "f"), "character"),
    ],
)
def test_what_cannot_be_used_is_refused_and_makes_no_file(
    formulary: Formulary, document: Document, word: str
) -> None:
    with pytest.raises(FileError, match=word):
        formulary.save(document, shipped(), 1)

    assert not formulary.path.exists()


def test_a_saved_version_can_be_neither_changed_nor_deleted(formulary: Formulary) -> None:
    formulary.save(toml(FIRST), shipped(), 1)

    with sqlite3.connect(formulary.path) as other:
        for statement in ("UPDATE formula_version SET text = ''", "DELETE FROM formula_version"):
            with pytest.raises(sqlite3.DatabaseError, match="never"):
                other.execute(statement)
    other.close()

    assert formulary.versions("Shortbread")[0].text == FIRST


def test_many_who_save_at_once_each_get_a_version_of_their_own(tmp_path: Path) -> None:
    def save(grams: int) -> None:
        Formulary(tmp_path).save(named("Torte", grams), shipped(), grams)

    threads = [threading.Thread(target=save, args=(grams,)) for grams in range(100, 112)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)

    versions = Formulary(tmp_path).versions("Torte")
    assert [one.version for one in versions] == list(range(1, 13))
    assert len({one.saved_us for one in versions}) == 12


def test_a_file_of_a_newer_version_is_left_alone(formulary: Formulary) -> None:
    formulary.save(toml(FIRST), shipped(), 1)
    with sqlite3.connect(formulary.path) as other:
        other.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at)"
            " VALUES ('coolcrumb-kitchen', '0099 of a later year', '2031-01-01')"
        )
    other.close()

    with pytest.raises(FormularyError, match="newer version"):
        formulary.save(toml(SECOND), shipped(), 2)


def test_a_folder_that_cannot_be_written_is_said_so(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")

    with pytest.raises(FormularyError, match="cannot be written"):
        Formulary(tmp_path / "file").save(toml(FIRST), shipped(), 1)


def test_over_http_a_formula_is_saved_listed_and_read_back(serve: Serve) -> None:
    served = serve(None)

    status, saved = served.ask("/api/formulas", {"formula": FIRST})
    again = served.ask("/api/formulas", {"formula": FIRST})
    as_json = served.ask("/api/formulas", {"formula": toml(SECOND).content})
    listed = served.ask("/api/formulas")[1]["formulas"]
    versions = served.ask("/api/formulas/shortbread")[1]
    by_name = served.ask(f"/api/formulas/{quote('SHORTBREAD')}/1")[1]
    second = served.ask("/api/formulas/shortbread/2")[1]

    assert (status, saved["version"], saved["new"]) == (201, 1, True)
    assert (again[0], again[1]["version"], again[1]["new"]) == (200, 1, False)
    assert (as_json[0], as_json[1]["version"]) == (201, 2)
    assert [(row["name"], row["latest"]) for row in listed] == [("Shortbread", 2)]
    assert [row["version"] for row in versions["versions"]] == [1, 2]
    assert by_name["text"] == FIRST
    assert second["text"] is None
    assert second["document"] == toml(SECOND).content


def test_the_sheet_has_grams_percentages_sources_and_what_can_weigh_it(serve: Serve) -> None:
    served = serve("weighing")
    served.ask("/api/formulas", {"formula": SECOND})

    answer = wait_for(
        lambda: (got := served.ask("/api/formulas/shortbread/1/sheet")[1])["fit"] and got,
        "the scale's division is known",
    )

    lines = {line["key"]: line for line in answer["sheet"]["lines"]}
    fit = {one["key"]: one for one in answer["fit"]}
    assert lines["butter"]["percent"] == pytest.approx(220 / 3)
    assert lines["granulated sugar"]["mass_kg"] == pytest.approx(0.1)
    assert "19335" in lines["granulated sugar"]["conversion"]
    assert answer["sheet"]["allergens"]["fda"]
    assert fit["butter"]["answer"] == "decides"
    assert fit["salt"]["answer"] == "cannot"


def test_what_changed_between_two_versions_is_told_in_grams_and_per_cent(serve: Serve) -> None:
    served = serve(None)
    for text in (FIRST, SECOND):
        served.ask("/api/formulas", {"formula": text})

    status, found = served.ask("/api/formulas/shortbread/diff")
    back = served.ask("/api/formulas/shortbread/diff?from=2&to=1")[1]
    missing = served.ask("/api/formulas/shortbread/diff?from=7")

    lines = {(line["now"] or line["was"])["key"]: line for line in found["lines"]}
    assert (status, found["from"], found["to"]) == (200, 1, 2)
    assert lines["butter"]["difference_kg"] == pytest.approx(0.02)
    assert lines["butter"]["difference_percent"] == pytest.approx(20 / 3)
    assert lines["salt"]["change"] == "added"
    assert lines["granulated sugar"]["change"] == "same"
    assert {line["change"] for line in back["lines"]} == {"changed", "removed", "same"}
    assert missing[0] == 404
    assert "latest is 2" in missing[1]["error"]["what"]


@pytest.mark.parametrize(
    ("body", "status", "word"),
    [
        ({"formula": "name = "}, 422, "not TOML"),
        ({"formula": {"name": "x"}}, 422, "no lines"),
        ({"formula": 'name = "x"\nn = nan\n[[line]]\ningredient="a"\namount="1 g"'}, 422, "nan"),
        ({"formula": FIRST.replace("1/2 cup", "1/2 sack")}, 422, "line 13"),
        ({"formula": [1]}, 422, "formula"),
        ({}, 422, "formula"),
    ],
)
def test_a_formula_that_cannot_be_used_is_refused_with_its_line(
    standing: Callable[[str], Served], body: object, status: int, word: str
) -> None:
    served = standing("weighing")

    got, answer = served.ask("/api/formulas", body)

    assert got == status, answer
    assert word in answer["error"]["what"]
    assert answer["error"]["remedy"]


def test_a_batch_keeps_the_version_it_was_opened_with(serve: Serve) -> None:
    served = serve(None)
    served.recorder()
    wait_for(lambda: served.ask("/api/batches")[0] == 200, "the recorder has made the log", 20)
    served.ask("/api/formulas", {"formula": FIRST})
    body = {"plan": PLAN, "formulas": [{"saved": "Shortbread", "version": 1}]}

    status, opened = wait_for(
        lambda: (got := served.ask("/api/batches", body))[0] == 201 and got, "the batch is open"
    )
    served.ask("/api/formulas", {"formula": SECOND})
    batch = served.ask(f"/api/batches/{opened['batch']}")[1]
    sheets = served.ask(f"/api/batches/{opened['batch']}/sheet")[1]["sheets"]
    unknown = served.ask("/api/batches", body | {"formulas": [{"saved": "Shortcake"}]})
    odd = served.ask("/api/batches", body | {"formulas": [{"saved": "Shortbread", "v": 1}]})

    assert status == 201
    assert batch["formulas"] == [toml(FIRST).content]
    assert [line["mass_kg"] for line in sheets[0]["sheet"]["lines"]][:2] == [0.3, 0.2]
    assert sheets[0]["sheet"]["lines"][1]["record"].startswith("USDA")
    assert sheets[0]["saved"]["version"] == 1
    assert (unknown[0], odd[0]) == (404, 422)
    assert "GET /api/formulas" in unknown[1]["error"]["remedy"]
    assert "saved" in odd[1]["error"]["remedy"]


def test_without_a_version_the_latest_is_taken(serve: Serve) -> None:
    served = serve(None)
    served.recorder()
    wait_for(lambda: served.ask("/api/batches")[0] == 200, "the recorder has made the log", 20)
    for text in (FIRST, SECOND):
        served.ask("/api/formulas", {"formula": text})
    body = {"plan": PLAN, "formulas": [{"saved": "shortbread"}]}

    _, opened = wait_for(
        lambda: (got := served.ask("/api/batches", body))[0] == 201 and got, "the batch is open"
    )

    batch = served.ask(f"/api/batches/{opened['batch']}")[1]
    assert json.dumps(batch["formulas"]) == json.dumps([toml(SECOND).content])


def test_the_command_line_saves_and_lists_versions(tmp_path: Path) -> None:
    file = tmp_path / "shortbread.formula.toml"
    data = ["--data", str(tmp_path / "data")]
    said = []

    for text in (FIRST, FIRST, 'version = "with salt"\n' + SECOND):
        file.write_text(text, "utf-8")
        said.append(CliRunner().invoke(main, ["formula", "save", str(file), *data]))
    listed = CliRunner().invoke(main, ["formula", "versions", *data])
    as_json = CliRunner().invoke(main, ["formula", "versions", "shortbread", *data, "--json"])

    assert [one.exit_code for one in said] == [0, 0, 0]
    assert "version 1" in said[0].stdout
    assert "there already" in said[1].stdout
    assert "version 2" in said[2].stdout
    assert listed.stdout.splitlines()[0] == "Shortbread"
    assert listed.stdout.splitlines()[2].endswith("with salt")
    assert [row["version"] for row in json.loads(as_json.stdout)] == [1, 2]


def test_the_command_line_says_what_is_wrong_with_the_exit_code_of_its_kind(tmp_path: Path) -> None:
    file = tmp_path / "shortbread.formula.toml"
    file.write_text(FIRST.replace("200 g", "0 g"), "utf-8")
    data = ["--data", str(tmp_path)]

    unusable = CliRunner().invoke(main, ["formula", "save", str(file), *data])
    missing = CliRunner().invoke(main, ["formula", "versions", "shortcake", *data])

    assert (unusable.exit_code, missing.exit_code) == (3, 4)
    assert "line 9" in unusable.output
    assert "shortcake" in missing.output


def test_saving_says_what_to_copy_where_an_ingredient_lies_only_beside_the_formula(
    tmp_path: Path,
) -> None:
    (tmp_path / "house.ingredients.toml").write_text(
        '[[ingredient]]\nname = "house blend"\nkind = "flour"\nmeasures = { cup = "140 g" }\n',
        "utf-8",
    )
    file, folder = tmp_path / "x.formula.toml", tmp_path / "data"
    folder.mkdir()
    file.write_text('name = "X"\n[[line]]\ningredient = "house blend"\namount = "1 cup"\n', "utf-8")
    save = ["formula", "save", str(file), "--data", str(folder)]

    refused = CliRunner().invoke(main, save)
    (folder / "house.ingredients.toml").write_bytes(
        (tmp_path / "house.ingredients.toml").read_bytes()
    )
    saved = CliRunner().invoke(main, save)

    assert refused.exit_code == 3
    assert "copy house.ingredients.toml into" in refused.output
    assert saved.exit_code == 0


def test_every_route_of_saved_formulas_is_in_the_docs(
    standing: Callable[[str], Served],
) -> None:
    text = (Path(__file__).parents[2] / "docs" / "formats.md").read_text("utf-8")
    paths = standing("weighing").ask("/openapi.json")[1]["paths"]
    ours = [
        f"{method.upper()} {path}"
        for path, methods in paths.items()
        if "/formulas" in path or path.endswith("/sheet")
        for method in methods
    ]

    assert len(ours) >= 7
    assert [route for route in ours if route not in text] == []
