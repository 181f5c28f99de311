"""A kitchen's own ingredients: beside a formula, in the data folder, and frozen into a batch."""

import pytest

from logger.document import Document, FileError
from logger.formula import weigh
from logger.formula.own import read_own
from logger.pantry import shipped, with_own
from logger.planfile import load_plan, load_plan_document, plan_from_document

OWN = """
[[ingredient]]
name = "harbour flour"
aliases = ["our flour", "cake flour"]
kind = "flour"
flour_kind = "cake"
measures = { cup = "118 ± 4 g", "cup, sifted" = "101 g", scoop = "95 g" }
composition = { water = 13.0, protein = 8.4, fat = 1, carbohydrate = 77.1, energy = 350 }
allergens = ["wheat"]
cost = "1.15"
source = "weighed five times in March"

[[ingredient]]
name = "pear brandy"
kind = "liquid"
density = "0.95 g/ml"
"""


def own(text=OWN):
    return read_own(Document.parse(text.encode(), "ours.ingredients.toml"))


def test_an_ingredient_is_read_whole():
    flour, brandy = own()

    assert (flour.name, flour.aliases, flour.kind) == (
        "harbour flour",
        ("our flour", "cake flour"),
        "flour",
    )
    assert flour.source == "ours.ingredients.toml, harbour flour: weighed five times in March"
    assert flour.composition is not None
    assert (flour.composition.protein_g, flour.composition.sugars_g) == (8.4, None)
    assert (flour.allergens, flour.cost_per_kg, flour.flour_kind) == (("wheat",), 1.15, "cake")
    assert (brandy.density_g_ml, brandy.allergens, brandy.composition) == (0.95, (), None)


@pytest.mark.parametrize(
    ("amount", "name", "grams", "spread"),
    [
        ("2 cups", "our flour", 236, 8),
        ("1 cup sifted", "harbour flour", 101, 10.1),
        ("1 scoop", "harbour flour", 95, None),
        ("1 cup", "cake flour", 118, 4),
        ("100 ml", "pear brandy", 95, 1.9),
        ("1 cup", "all-purpose flour", 125, 12.5),
    ],
)
def test_its_measures_are_used_and_win_over_the_shipped_ones(amount, name, grams, spread):
    weight = weigh(amount, name, shipped().plus(own()))

    assert weight.mass_kg == pytest.approx(grams / 1000)
    assert spread is None or weight.spread_kg == pytest.approx(spread / 1000)


@pytest.mark.parametrize(
    ("was", "now", "line", "words"),
    [
        ('name = "harbour flour"', 'nme = "harbour flour"', 3, "did you mean 'name'"),
        ('kind = "flour"', 'kind = "floor"', 5, "one of flour"),
        ('cup = "118 ± 4 g"', 'cup = "118"', 7, "130 g"),
        ('cup = "118 ± 4 g"', 'cup = "-1 g"', 7, "130 g"),
        ("water = 13.0", "water = 113.0", 8, "from 0 to 100"),
        ("water = 13.0", 'water = "13 %"', 8, "without a unit"),
        ("water = 13.0", "watr = 13.0", 8, "did you mean 'water'"),
        ('allergens = ["wheat"]', 'allergens = ["weat"]', 9, "did you mean 'wheat'"),
        ('allergens = ["wheat"]', 'allergens = "wheat"', 9, "list of texts"),
        ('cost = "1.15"', 'cost = "cheap"', 10, "what a kilogram costs"),
        ('density = "0.95 g/ml"', 'density = "950 g/ml"', 16, "density of no ingredient"),
        ('density = "0.95 g/ml"', 'density = "0.95"', 16, "0.92 g/ml"),
        ('name = "pear brandy"', 'name = "our flour"', 14, "given twice"),
        ('name = "pear brandy"', 'name = "harbour flour"', 14, "given twice"),
    ],
)
def test_a_mistake_names_file_line_and_remedy(was, now, line, words):
    assert was in OWN

    with pytest.raises(FileError, match=words) as refused:
        own(OWN.replace(was, now, 1))

    assert (refused.value.file, refused.value.line) == ("ours.ingredients.toml", line)
    assert refused.value.remedy


@pytest.mark.parametrize("density", ["0.95 g/ml", "950 g/l", "0.95 kg/l", "224.7588 g/cup"])
def test_a_density_may_be_written_in_any_of_its_units(density):
    (row,) = own(f'[[ingredient]]\nname = "x"\ndensity = "{density}"\n')

    assert row.density_g_ml == pytest.approx(0.95, rel=1e-5)


def test_files_of_several_folders_are_read_and_the_nearest_wins(tmp_path):
    (tmp_path / "kitchen").mkdir()
    (tmp_path / "beside").mkdir()
    for folder, grams in (("kitchen", 110), ("beside", 120)):
        (tmp_path / folder / "a.ingredients.toml").write_text(
            f'[[ingredient]]\nname = "harbour flour"\nmeasures = {{ cup = "{grams} g" }}\n', "utf-8"
        )

    pantry = with_own(tmp_path / "kitchen", tmp_path / "beside", tmp_path / "nowhere")

    assert weigh("1 cup", "harbour flour", pantry).mass_kg == pytest.approx(0.120)


PLAN = '[channels]\n"a/mass" = "scale"\n[formula]\nfile = "a.formula.toml"\n'
FORMULA = """
name = "x"
[[line]]
ingredient = "our flour"
amount = "2 cups"
[[line]]
ingredient = "eggs"
amount = "3"
[[line]]
ingredient = "pear brandy"
amount = "1 tbsp"
[[line]]
ingredient = "unheard-of spice"
amount = "2 g"
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "a.plan.toml").write_text(PLAN, "utf-8")
    (tmp_path / "a.formula.toml").write_text(FORMULA, "utf-8")
    (tmp_path / "ours.ingredients.toml").write_text(OWN, "utf-8")
    return tmp_path


def test_a_plan_freezes_in_the_rows_its_formulas_use(folder):
    document = load_plan_document(folder / "a.plan.toml")

    assert [row["name"] for row in document["frozen"]["ingredients"]] == [
        "Egg, whole, raw, fresh",
        "harbour flour",
        "pear brandy",
    ]


def test_a_frozen_plan_needs_neither_the_table_nor_the_kitchens_files(folder, monkeypatch):
    import json

    document = json.loads(json.dumps(load_plan_document(folder / "a.plan.toml")))
    expected = load_plan(folder / "a.plan.toml")
    (folder / "ours.ingredients.toml").unlink()
    monkeypatch.setattr("logger.pantry.shipped", lambda: pytest.fail("the table was read"))

    plan = plan_from_document(document)

    assert plan == expected
    assert plan.lines is not None
    assert [line.target_kg for line in plan.lines] == pytest.approx(
        [0.236, 0.15, 0.014047427, 0.002]
    )
