"""Plans and formulas: read whole, and refused with file, line and remedy."""

import pytest

from logger.document import Document, FileError
from logger.formula import default_tolerance_kg, read_formula
from logger.pantry import shipped
from logger.planfile import load_plan, plan_from_document, read_plan

PLAN = """
[kitchen]
altitude = "20 m"
room = "23 ± 2 °C"

[channels]
"oven-probe/air" = "oven"
"cake-probe/core" = "core"

[formula]
file = "cake.formula.toml"

[oven]
set_point = "175 °C"

[cake]
kind = "layer"
batter = "620 g"
batter_depth = "20 mm"
pans = 2
pan = { shape = "round", diameter = "200 mm", depth = "50 mm", material = "aluminium" }

[bake.milestones]
done = { core = "97 °C", hold = "60 s" }

[cooling.milestones]
frost = { core = "24 °C" }
near = { core_above_room = "2 °C" }
"""
FORMULA = """
name = "Cake"

[[line]]
ingredient = "butter"
amount = "100 g"

[[line]]
ingredient = "butter"
amount = "20 g"
tolerance = "1 g"

[[line]]
ingredient = "eggs"
amount = "3 large"
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "a.plan.toml").write_text(PLAN, "utf-8")
    (tmp_path / "cake.formula.toml").write_text(FORMULA, "utf-8")
    return tmp_path


def test_a_plan_is_read_whole(folder):
    plan = load_plan(folder / "a.plan.toml")

    assert plan.role("cake-probe/core") == "core"
    assert plan.room is not None
    assert (plan.room.celsius, plan.room.plus_minus_k) == (23.0, 2.0)
    assert plan.oven.set_point_c == 175.0
    assert plan.cake.pan is not None
    assert plan.cake.pan.diameter_m == 0.2
    assert plan.bake_milestones[0].hold_s == 60.0
    assert plan.cooling_milestones[1].core_above_room_k == 2.0
    assert plan.formula is not None
    assert [line.key for line in plan.formula.lines] == ["butter", "butter#2", "eggs"]
    assert plan.formula.lines[2].target_kg == 0.15  # USDA SR 28, record 01123: 1 large = 50 g
    assert plan.formula.lines[2].by == "count"
    assert [row.name for row in plan.ingredients] == [
        "Butter, without salt",
        "Egg, whole, raw, fresh",
    ]
    assert plan.warnings == ()


@pytest.mark.parametrize(
    ("was", "now", "line", "word"),
    [
        ('room = "23 ± 2 °C"', 'room = "warm"', 4, "23 ± 2 °C"),
        ('"cake-probe/core" = "core"', '"cake-probe/core" = "centre"', 8, "role"),
        ('"cake-probe/core" = "core"', '"cake-probe/core" = "oven"', 8, "two channels"),
        ('set_point = "175 °C"', "set_point = 175", 14, "no unit"),
        ('done = { core = "97 °C", hold = "60 s" }', "done = { }", 24, "exactly one"),
        ('batter = "620 g"', 'batter = "0 g"', 18, "more than nothing"),
        ("[channels]", "[channels", 6, "TOML"),
        ('kind = "layer"', 'kind = "layer"\nkind = "x"', 18, "TOML"),
    ],
)
def test_a_mistake_names_file_line_and_remedy(folder, was, now, line, word):
    path = folder / "a.plan.toml"
    path.write_text(PLAN.replace(was, now), "utf-8")

    with pytest.raises(FileError, match=word) as refused:
        load_plan(path)

    assert (refused.value.file, refused.value.line) == ("a.plan.toml", line)
    assert refused.value.remedy


def test_an_unknown_kind_is_a_warning_and_no_error():
    document = Document.parse(b'[channels]\n"a/b" = "core"\n[cake]\nkind = "gateau"\n', "p")

    assert "gateau" in read_plan(document).warnings[0]


def test_a_plan_out_of_the_log_is_the_same_as_the_file(folder):
    from logger.planfile import load_plan_document

    document = load_plan_document(folder / "a.plan.toml")

    assert plan_from_document(document) == load_plan(folder / "a.plan.toml")


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        (b"name = 'x'\n", None, "no lines"),
        (b"[[line]]\ningredient='a'\namount='1 g'\n", None, "no name"),
        (b"name='x'\n[[line]]\ningredient='a'\namount='0 g'\n", 4, "nothing"),
        (b"name='x'\n[[line]]\ningredient='a'\namount='-5 g'\n", 4, "nothing"),
        (b"name='x'\n[[line]]\ningredient='a'\namount='1000000 kg'\n", 4, "more than a kitchen"),
        (b"name='x'\n[[line]]\namount='1 g'\n", 2, "ingredient is missing"),
        (b"name='x'\n[[line]]\ningredient='\xe9'\n", 3, "UTF-8"),
        (b"name='x'\n[[line]]\ningredient='a'\namount='1 g'\ntolerance='lots'\n", 5, "a:"),
    ],
)
def test_a_formula_that_cannot_be_used_is_refused(text, line, word):
    with pytest.raises(FileError, match=word) as refused:
        read_formula(Document.parse(text, "f.toml"), shipped())

    assert refused.value.line == line


@pytest.mark.parametrize(
    ("ingredient", "share"),
    # Common practice of the trade, no source: leaveners, salt, spices, extracts 5 %; flour, sugar,
    # fats, cocoa, chocolate 1 %; the rest 2 %.
    [
        ("baking powder", 0.05), ("salt", 0.05), ("ground ginger", 0.05), ("vanilla extract", 0.05),
        ("cake flour", 0.01), ("icing sugar", 0.01), ("brown butter", 0.01), ("cocoa", 0.01),
        ("dark chocolate", 0.01), ("sunflower oil", 0.01), ("unsalted butter", 0.01),
        ("salted butter", 0.01), ("whole egg", 0.02), ("buttermilk", 0.02), ("cream cheese", 0.02),
        ("grated pear", 0.02), ("candied ginger", 0.02), ("water", 0.02),
    ],
)  # fmt: skip
def test_tolerances_follow_the_class_of_ingredient(ingredient, share):
    assert default_tolerance_kg(ingredient, 1.0) == pytest.approx(share)
    assert default_tolerance_kg(ingredient, 0.001) == 0.0001


def test_each_scale_of_a_plan_has_facts_of_its_own():
    document = Document.parse(
        b"""
[channels]
"bench/mass" = "scale"
"small/mass" = "scale 2"
[scale]
resolution = "1 g"
class = "III"
capacity = "6 kg"
["scale 2"]
resolution = "0.1 g"
interval = "1 g"
""",
        "a.plan.toml",
    )

    plan = read_plan(document)

    assert plan.scale.resolution_kg == 0.001
    assert plan.scale.accuracy_class == "III"
    assert plan.scale.capacity_kg == 6.0
    assert plan.scales["scale 2"].resolution_kg == pytest.approx(0.0001)
    assert plan.scales["scale 2"].interval_kg == 0.001
    assert plan.scales["scale 2"].accuracy_class is None


def test_a_class_that_is_none_is_named_with_its_line():
    text = b'[channels]\n"small/mass" = "scale 2"\n["scale 2"]\nresolution = "1 g"\nclass = "V"\n'

    with pytest.raises(FileError, match=r"line 5: class 'V' is none of OIML R 76"):
        read_plan(Document.parse(text, "a.plan.toml"))
