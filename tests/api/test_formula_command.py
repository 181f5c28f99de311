"""``coolcrumb formula``: what it prints, what it writes, and how it refuses."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from api.command import main

FORMULA = """\
# Harbour Steps cake room, invented.
name = "Pear and ginger layer cake"
version = 3

[makes]
pan = { shape = "round", diameter = "200 mm", depth = "50 mm" }
pans = 2
batter_per_pan = "620 g"
portions = 16

[[line]]
ingredient = "cake flour"
amount = "2 cups"
bowl = "dry"

[[line]]
ingredient = "granulated sugar"
amount = "300 g"
bowl = "dry"

[[line]]
ingredient = "salt"
amount = "1/2 tsp"
bowl = "dry"

[[line]]
ingredient = "butter"
amount = "110 g"

[[line]]
ingredient = "eggs"
amount = "4 large"
bowl = "wet"

[[step]]
kind = "bake"
set_point = "175 °C"
"""
PLAN = """\
[channels]
"bench/mass" = "scale"
"small/mass" = "scale 2"
[scale]
resolution = "1 g"
["scale 2"]
resolution = "0.1 g"
[cake]
kind = "pound"
pans = 3
pan = { shape = "round", diameter = "180 mm", depth = "60 mm" }
"""


@pytest.fixture
def kitchen(tmp_path, monkeypatch):
    (tmp_path / "pear.formula.toml").write_text(FORMULA, "utf-8")
    (tmp_path / "pear.plan.toml").write_text(PLAN, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str, code: int = 0):
    done = CliRunner().invoke(main, ["formula", *words])
    assert done.exit_code == code, (done.output, done.stderr, done.exception)
    assert "Traceback" not in done.output + done.stderr
    return done


def document(*words: str):
    done = run(*words, "--json")
    assert done.stdout.count("\n") == 1
    return json.loads(done.stdout)


def test_check_says_grams_tolerance_and_where_the_weight_is_from(kitchen):
    said = run("check", "pear.formula.toml").stdout

    assert "Pear and ginger layer cake, version 3" in said
    assert re.search(r"cake flour +2 cups +274\.0 +± 2\.7 +± 27\.4 +dry", said)
    assert "cake flour: USDA SR 28, record 20084: 1 cup unsifted, dipped = 137 g" in said
    assert "decided by" not in said


def test_check_with_a_resolution_says_what_that_scale_can_decide(kitchen):
    said = run("check", "pear.formula.toml", "--resolution", "1 g", "--class", "III").stdout

    assert re.search(r"cake flour .* scale$", said, re.MULTILINE)
    assert re.search(r"salt .* none here$", said, re.MULTILINE)
    assert "salt: The scale reads 1 g" in said
    assert "Make a premix" in said


def test_check_with_a_plan_says_which_of_its_scales_decides(kitchen):
    found = document("check", "pear.formula.toml", "--plan", "pear.plan.toml")

    by_key = {one["key"]: one for one in found["fit"]}
    assert (by_key["salt"]["answer"], by_key["salt"]["scale"]) == ("decides", "scale 2")
    assert by_key["cake flour"]["scale"] == "scale"


def test_check_with_a_plan_that_tells_no_scale_says_so_once(kitchen):
    (kitchen / "bare.plan.toml").write_text('[channels]\n"bench/mass" = "scale"\n', "utf-8")

    said = run("check", "pear.formula.toml", "--plan", "bare.plan.toml").stdout

    assert said.count("No scale is told") == 1


def test_check_as_json_keeps_its_fields(kitchen):
    found = document("check", "pear.formula.toml")

    flour = found["lines"][0]
    assert found["name"] == "Pear and ginger layer cake"
    assert {"key", "amount", "target_kg", "lower_kg", "upper_kg", "bowl"} <= set(flour)
    assert flour["target_kg"] == pytest.approx(0.274)
    assert flour["lower_kg"] == pytest.approx(0.274 * 0.99)
    assert flour["spread_kg"] == pytest.approx(0.0274)
    assert "record 20084" in flour["source"]


def test_show_says_percentages_balance_allergens_energy_and_deposit(kitchen):
    said = run("show", "pear.formula.toml").stdout

    assert re.search(r"granulated sugar +300 g +300\.0 +109\.5", said)
    for word in ("Composition", "Balance", "sugar : flour", "Allergens", "wheat", "kcal", "Cost"):
        assert word in said
    assert "2 pans of 620 g take 1240 g" in said
    assert "bake: 175 °C" in said


def test_show_as_json_is_the_sheet(kitchen):
    found = document("show", "pear.formula.toml")

    assert found["sheet"]["lines"][1]["percent"] == pytest.approx(300 / 2.74)
    assert found["steps"] == ["bake: 175 °C"]


@pytest.mark.parametrize(
    ("words", "factor"),
    [
        (["--pans", "round 230 mm x 50 mm"], 1.3225),
        (["--pans", "round 200 mm x 50 mm", "--count", "3"], 1.5),
        (["--portions", "24"], 1.5),
        (["--factor", "3/2"], 1.5),
        (["--factor", "0,5"], 0.5),
        (["--total", "1 kg"], 1 / 0.887),
        (["--least", "butter=100 g", "--least", "cake flour=1 kg"], 10 / 11),
    ],
)
def test_scale_by_each_of_its_ways(kitchen, words, factor):
    found = document("scale", "pear.formula.toml", *words)

    assert found["factor"] == pytest.approx(factor)
    for line in found["lines"]:
        assert line["target_kg"] == pytest.approx(line["was_kg"] * factor)


def test_scale_prints_what_was_done_and_what_to_watch(kitchen):
    said = run("scale", "pear.formula.toml", "--pans", "round 230 mm x 20 mm").stdout

    assert "the batter as deep as before" in said
    assert "! The pan overflows" in said
    assert re.search(r"granulated sugar +300 g +396\.8 +± 4\.0", said)


def test_scale_to_whole_eggs_says_both_ways(kitchen):
    found = document("scale", "pear.formula.toml", "--factor", "1.3", "--whole-eggs")

    assert found["whole_eggs"]["chosen"] == "all"
    assert [way["pieces"] for way in found["whole_eggs"]["ways"]] == [{"eggs": 5}, {"eggs": 5}]
    assert found["factor"] == 1.25
    said = run("scale", "pear.formula.toml", "--factor", "1.3", "--whole-eggs").stdout
    assert "The other way: to whole pieces (eggs: 5 large), the rest as scaled" in said


def test_a_scaled_formula_is_written_and_can_be_read_again(kitchen):
    run("scale", "pear.formula.toml", "--factor", "1.3", "--whole-eggs", "--output", "more.toml")

    found = document("check", "more.toml")

    masses = {line["key"]: line["target_kg"] for line in found["lines"]}
    assert masses["cake flour"] == pytest.approx(0.3425)
    assert masses["salt"] == pytest.approx(0.00375)
    assert next(x["amount"] for x in found["lines"] if x["key"] == "eggs") == "5 large"
    assert found["version"] == "3 × 1.25"


def test_scaled_there_and_back_differs_in_nothing_that_is_weighed(kitchen):
    run("scale", "pear.formula.toml", "--factor", "3", "--output", "three.toml")
    run("scale", "three.toml", "--factor", "1/3", "--output", "one.toml")

    found = document("diff", "pear.formula.toml", "one.toml")

    assert {line["difference_kg"] for line in found["lines"]} == {0.0}


def test_what_is_there_is_never_written_over(kitchen):
    (kitchen / "more.toml").write_text("mine", "utf-8")

    refused = run("scale", "pear.formula.toml", "--factor", "2", "--output", "more.toml", code=2)

    assert "is there already" in refused.stderr
    assert (kitchen / "more.toml").read_text("utf-8") == "mine"


def test_the_plan_tells_the_pan_where_the_formula_does_not(kitchen):
    text = re.sub(r"\[makes\](\n.+)+\n", "", FORMULA)
    (kitchen / "bare.formula.toml").write_text(text, "utf-8")

    refused = run("scale", "bare.formula.toml", "--pans", "round 180 mm x 60 mm", code=3)
    found = document(
        "scale", "bare.formula.toml", "--pans", "round 180 mm x 60 mm", "--count", "6",
        "--plan", "pear.plan.toml",
    )  # fmt: skip

    assert "bare.formula.toml: Pear and ginger layer cake does not say what pan" in refused.stderr
    assert found["factor"] == 2.0


def test_diff_says_grams_and_per_cents(kitchen):
    text = FORMULA.replace('"300 g"', '"330 g"').replace("version = 3", "version = 4")
    (kitchen / "sweeter.formula.toml").write_text(text, "utf-8")

    said = run("diff", "pear.formula.toml", "sweeter.formula.toml").stdout

    assert re.search(r"~ +granulated sugar +300\.0 +330\.0 +\+30\.0 +109\.5 +120\.4", said)
    assert "4 lines are the same." in said
    assert "version: 3 → 4" in said
    assert run("diff", "pear.formula.toml", "pear.formula.toml").stdout.endswith(
        "Nothing changed.\n"
    )
    assert document("diff", "pear.formula.toml", "pear.formula.toml")["same"] is True


def test_diff_says_what_changed_where_the_grams_did_not(kitchen):
    text = FORMULA.replace('"2 cups"', '"274 g"')
    (kitchen / "grams.formula.toml").write_text(text, "utf-8")

    said = run("diff", "pear.formula.toml", "grams.formula.toml").stdout

    assert re.search(r"~ +cake flour +274\.0 +274\.0 .*2 cups → 274 g", said)


def test_a_kitchen_s_own_ingredients_beside_the_file_are_known(kitchen):
    (kitchen / "house.ingredients.toml").write_text(
        '[[ingredient]]\nname = "house blend"\nkind = "flour"\nmeasures = { cup = "140 g" }\n',
        "utf-8",
    )
    text = FORMULA.replace('"cake flour"', '"house blend"')
    (kitchen / "house.formula.toml").write_text(text, "utf-8")

    found = document("check", "house.formula.toml")

    assert found["lines"][0]["target_kg"] == pytest.approx(0.28)


def changed(old: str, new: str) -> bytes:
    assert old in FORMULA
    return FORMULA.replace(old, new, 1).encode()


BAD_FILES = {
    "unknown unit": (changed('"300 g"', '"300 blips"'), 18, "blips", "write"),
    "no unit": (changed('"300 g"', '"300"'), 18, "300", "g"),
    "zero": (changed('"300 g"', '"0 g"'), 18, "not more than nothing", "positive"),
    "negative": (changed('"300 g"', '"-300 g"'), 18, "not more than nothing", "positive"),
    "a range": (changed('"300 g"', '"280-300 g"'), 18, "is a range", "tolerance"),
    "a million tonnes": (changed('"300 g"', '"1000000000 kg"'), 18, "kitchen weighs", "unit"),
    "a negative tolerance": (
        changed('amount = "300 g"', 'amount = "300 g"\ntolerance = "-1 g"'), 19, "tolerance", "2 g",
    ),
    "no flour": (changed('"cake flour"', '"cocoa"').replace(b"2 cups", b"200 g"), 11,
                 "has no flour", "flour"),
    "not UTF-8": (FORMULA.encode().replace(b"invented", b"invent\xe9"), 1, "not UTF-8", "save"),
    "a key twice": (changed('amount = "300 g"', 'amount = "300 g"\namount = "3 g"'), 19,
                    "not TOML", "each key once"),
    "a line's key twice": (
        changed('ingredient = "salt"', 'ingredient = "salt"\nkey = "butter"').replace(
            b'ingredient = "butter"\n', b'ingredient = "butter"\nkey = "butter"\n'
        ), 29, "used twice", "own",
    ),
    "an ingredient that is not there": (
        changed('"cake flour"', '"cake flower"'), 13, "cake flower", "cake flour",
    ),
    "a measure without a weight": (changed('"2 cups"', '"2 envelopes"'), 13, "envelope", "cup"),
    "no lines": (b'name = "Nothing"\n', None, "no lines", "[[line]]"),
    "no name": (FORMULA.encode().replace(b'name = "Pear and ginger layer cake"\n', b""), None,
                "no name", "name ="),
    "a misspelt key": (changed('bowl = "dry"', 'bowel = "dry"'), 14, "bowel", "bowl"),
}  # fmt: skip


# A sheet and a scaling need no flour; the sheet says that there is none.
@pytest.mark.parametrize(
    ("command", "name"),
    [
        (command, name)
        for command in (["check"], ["show"], ["scale", "--factor", "2"])
        for name in BAD_FILES
        if command == ["check"] or name != "no flour"
    ],
)
def test_a_file_that_cannot_be_used_is_refused_with_file_line_and_remedy(kitchen, command, name):
    raw, line, what, remedy = BAD_FILES[name]
    (kitchen / "bad.formula.toml").write_bytes(raw)
    for json_or_not in ([], ["--json"]):
        refused = run(*command, "bad.formula.toml", *json_or_not, code=3)

        assert refused.stdout == ""
        assert re.search(r"bad\.formula\.toml(?:, line \d+)?: ", refused.stderr)
        if line is not None:
            assert f"bad.formula.toml, line {line}: " in refused.stderr
        assert what in refused.stderr
        assert remedy in refused.stderr.split(";", 1)[1]


def test_a_sheet_of_a_cake_without_flour_says_so(kitchen):
    (kitchen / "bad.formula.toml").write_bytes(BAD_FILES["no flour"][0])

    said = run("show", "bad.formula.toml").stdout

    assert "! Pear and ginger layer cake has no flour that coolcrumb knows" in said


@pytest.mark.parametrize("words", [["check"], ["show"], ["scale", "--factor", "2"]])
def test_a_missing_file_is_refused_by_name(kitchen, words):
    refused = run(*words, "missing.formula.toml", code=3)

    assert "missing.formula.toml: cannot be read: No such file" in refused.stderr
    assert "check the name" in refused.stderr


def test_a_folder_in_place_of_a_file_is_refused(kitchen):
    refused = run("check", ".", code=3)

    assert "cannot be read: Is a directory" in refused.stderr


def test_tables_without_end_are_refused(kitchen):
    (kitchen / "deep.formula.toml").write_text("name = " + "[" * 20_000, "utf-8")

    refused = run("check", "deep.formula.toml", code=3)

    assert "deep.formula.toml" in refused.stderr


def test_diff_names_the_file_that_is_missing(kitchen):
    refused = run("diff", "pear.formula.toml", "missing.formula.toml", code=3)

    assert "missing.formula.toml" in refused.stderr


def test_a_plan_that_cannot_be_used_is_refused(kitchen):
    (kitchen / "bad.plan.toml").write_text('[channels]\n"a/mass" = "spoon"\n', "utf-8")

    refused = run("check", "pear.formula.toml", "--plan", "bad.plan.toml", code=3)

    assert "bad.plan.toml, line 2: 'spoon' is not a role" in refused.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["check", "--class", "III"], "--class goes with --resolution"),
        (["check", "--plan", "pear.plan.toml", "--resolution", "1 g"], "give --plan, or"),
        (["check", "--resolution", "0 g"], "not more than nothing"),
        (["check", "--resolution", "1 blip"], "not a unit"),
        (["scale"], "give one of --pans"),
        (["scale", "--factor", "2", "--total", "1 kg"], "give one of --pans"),
        (["scale", "--factor", "2", "--count", "2"], "go with --pans"),
        (["scale", "--factor", "0"], "not more than nothing"),
        (["scale", "--factor", "-2"], "not more than nothing"),
        (["scale", "--factor", "2 kg"], "has a unit"),
        (["scale", "--factor", "much"], "does not begin with a number"),
        (["scale", "--total", "2 kq"], "not a unit"),
        (["scale", "--total=-2 kg"], "not more than nothing"),
        (["scale", "--portions", "0"], "0 is not in the range"),
        (["scale", "--pans", "heart 200 x 50 mm"], "no shape of a pan"),
        (["scale", "--pans", "round 200 mm x 50 mm", "--count", "0"], "0 is not in the range"),
        (["scale", "--least", "butter"], "is not LINE=AMOUNT"),
        (["scale", "--least", "butter=0 g"], "not more than nothing"),
    ],
)
def test_words_that_are_off_are_refused_with_a_remedy(kitchen, words, says):
    refused = run(words[0], "pear.formula.toml", *words[1:], code=2)

    assert says in " ".join(refused.stderr.split())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--total", "1000000000 kg"], "more than a kitchen weighs"),
        (["--least", "lard=1 kg"], "no line 'lard'; its lines are cake flour"),
    ],
)
def test_a_scaling_that_cannot_be_is_refused_with_the_file_s_name(kitchen, words, says):
    refused = run("scale", "pear.formula.toml", *words, code=3)

    assert "pear.formula.toml: " in refused.stderr
    assert says in refused.stderr


def test_a_file_that_cannot_be_written_is_refused(kitchen):
    refused = run(
        "scale", "pear.formula.toml", "--factor", "2", "--output", "no/where.toml", code=3
    )

    assert "cannot be written" in refused.stderr
