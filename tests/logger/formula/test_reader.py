"""A formula's file: read whole, or refused with file, line and remedy."""

import pytest

from logger.document import Document, FileError
from logger.formula import Pantry, read_formula
from logger.pantry import shipped
from logger.plan import Pan

WHOLE = """
name = "Pear and ginger layer cake"
version = 3
flour = "cake"
note = "the spring one"

[makes]
pan = { shape = "round", diameter = "200 mm", depth = "50 mm" }
pans = 2
batter_per_pan = "620 g"
portions = 16

[[line]]
ingredient = "cake flour"
amount = "2 2/3 cups"
bowl = "dry"
lot = "F-0231"
note = "from the new sack"

[[line]]
ingredient = "eggs"
amount = "3 large"

[[line]]
ingredient = "baking powder"
amount = "1 tbsp"
tolerance = "0.2 g"

[[line]]
ingredient = "salt"
amount = "to taste"

[[line]]
ingredient = "brown butter"
amount = "110 g"

[[step]]
kind = "mix"
text = "cream butter and sugar"
speed = "medium"
time = "3 min"
scrape_down = true

[[step]]
kind = "bake"
set_point = "350 °F"
window = "28-32 min"

[bake.milestones]
done = { core = "97 °C" }

[cooling.milestones]
frost = { core = "24 °C" }
"""


def read(text, pantry=None):
    return read_formula(Document.parse(text.encode(), "cake.formula.toml"), pantry or shipped())


def test_a_formula_is_read_whole():
    formula = read(WHOLE)

    assert (formula.name, formula.version, formula.flour_kind) == (
        "Pear and ginger layer cake",
        "3",
        "cake",
    )
    assert formula.makes.pan == Pan("round", diameter_m=0.2, depth_m=0.05)
    assert (formula.makes.pans, formula.makes.portions) == (2, 16)
    assert formula.makes.batter_per_pan_kg == 0.62
    mix, bake = formula.steps
    assert (mix.kind, mix.speed, mix.duration_s, mix.scrape_down) == ("mix", "medium", 180, True)
    assert (bake.duration_s, bake.longest_s) == (1680, 1920)
    assert bake.set_point_c == pytest.approx(176.667, abs=1e-3)
    assert [m.name for m in (*formula.bake, *formula.cooling)] == ["done", "frost"]


def test_each_line_says_how_its_target_came_about():
    flour, eggs, powder, salt, butter = read(WHOLE).lines

    assert flour.target_kg == pytest.approx(0.137 * 8 / 3)
    assert (flour.by, flour.bowl, flour.lot, flour.note) == (
        "measure",
        "dry",
        "F-0231",
        "from the new sack",
    )
    assert flour.source is not None
    assert "record 20084" in flour.source
    assert flour.spread_kg == pytest.approx(0.1 * 0.137 * 8 / 3)
    assert flour.tolerance_kg == pytest.approx(0.01 * 0.137 * 8 / 3)
    assert (eggs.by, eggs.target_kg) == ("count", 0.15)
    assert (powder.target_kg, powder.tolerance_kg) == (pytest.approx(0.0138), 0.0002)
    assert (salt.target_kg, salt.tolerance_kg, salt.spread_kg) == (None, None, None)
    # A line in grams needs nothing from the table; what is not in it has no source.
    assert (butter.by, butter.target_kg, butter.spread_kg, butter.source) == (
        "mass",
        0.11,
        None,
        None,
    )


def test_a_line_in_grams_reads_the_same_with_an_empty_pantry():
    text = 'name = "x"\n[[line]]\ningredient = "cake flour"\namount = "240 g"\n'

    assert read(text, Pantry([])).lines == read(text).lines


@pytest.mark.parametrize(
    ("was", "now", "line", "words"),
    [
        ('amount = "2 2/3 cups"', 'ammount = "2 2/3 cups"', 15, "did you mean 'amount'"),
        ('amount = "2 2/3 cups"', "amount = 240", 15, "not a text"),
        ('amount = "2 2/3 cups"', 'amount = "2-3 cups"', 15, "range"),
        ('amount = "2 2/3 cups"', 'amount = "0 g"', 15, "more than nothing"),
        ('amount = "2 2/3 cups"', 'amount = "-1 cup"', 15, "more than nothing"),
        ('amount = "2 2/3 cups"', 'amount = "1000000 tonnes"', 15, "more than a kitchen weighs"),
        ('amount = "2 2/3 cups"', 'amount = "1000000 cups"', 15, "more than a kitchen weighs"),
        ('amount = "2 2/3 cups"', 'amount = "2 cups"\namount = "3 cups"', 16, "each key once"),
        ('ingredient = "cake flour"', 'ingredient = "cak flour"', 15, "did you mean 'cake flour'"),
        ('ingredient = "cake flour"', 'ingredient = "flour"', 15, "which flour"),
        ('tolerance = "0.2 g"', 'tolerance = "0 g"', 27, "more than nothing"),
        ("version = 3", "vers = 3", 3, "did you mean 'version'"),
        ("pans = 2", "pans = 0", 9, "pans"),
        ('batter_per_pan = "620 g"', 'batter_per_pan = "620"', 10, "620 g"),
        ('diameter = "200 mm", ', "", 8, "without diameter"),
        ('shape = "round"', 'shape = "star"', 8, "star"),
        ('kind = "mix"', 'king = "mix"', 38, "did you mean 'kind'"),
        ('time = "3 min"', 'time = "3"', 41, "time"),
        ('window = "28-32 min"', 'window = "32-28 min"', 47, "window"),
        ("scrape_down = true", 'scrape_down = "yes"', 42, "scrape_down = true"),
        ('speed = "medium"', "speed = 2", 40, "not a text"),
    ],
)  # fmt: skip
def test_a_mistake_names_file_line_and_remedy(was, now, line, words):
    assert WHOLE.count(was) >= 1

    with pytest.raises(FileError, match=words) as refused:
        read(WHOLE.replace(was, now, 1))

    assert (refused.value.file, refused.value.line) == ("cake.formula.toml", line)
    assert refused.value.remedy


def test_an_empty_file_and_one_that_is_no_text_are_refused():
    with pytest.raises(FileError, match="no name"):
        read("")
    with pytest.raises(FileError, match="UTF-8") as refused:
        Document.parse(b'name = "caf\xe9"\n', "cake.formula.toml")
    assert refused.value.line == 1


def test_a_record_without_frozen_rows_reads_as_it_was_opened():
    # Before household measures were understood a counted line had no target, and a key nobody
    # knew was passed over. A replay of such a log must say what it said.
    content = {
        "name": "x",
        "colour": "red",
        "line": [
            {"ingredient": "eggs", "amount": "3 large", "shade": "brown"},
            {"ingredient": "fine salt", "amount": "4 g"},
        ],
    }

    eggs, salt = read_formula(Document(content, "formula"), None).lines

    assert (eggs.target_kg, eggs.by) == (None, "count")
    assert (salt.target_kg, salt.tolerance_kg) == (0.004, pytest.approx(0.0002))


@pytest.mark.parametrize(
    ("name", "share"),
    # Common practice of the trade, no source; the table's descriptions are in the same classes.
    [
        ("Sugars, granulated", 0.01), ("Leavening agents, baking soda", 0.05),
        ("Salt, table", 0.05), ("Pumpkin, canned, without salt", 0.02),
        ("Nuts, almond paste", 0.02), ("Ginger root, raw", 0.05), ("Butter, without salt", 0.01),
        ("Cheese, cream", 0.02), ("Egg, whole, raw, fresh", 0.02), ("Vanilla extract", 0.05),
        ("Cornmeal, degermed, enriched, yellow", 0.01), ("Candies, semisweet chocolate", 0.01),
        ("Milk, buttermilk, fluid, cultured, lowfat", 0.02), ("Syrups, corn, light", 0.02),
        ("Peanut butter, smooth style, with salt", 0.02), ("Oil, coconut", 0.01),
    ],
)  # fmt: skip
def test_tolerances_follow_the_kind_of_a_known_ingredient(name, share):
    (line,) = read(f'name = "x"\n[[line]]\ningredient = "{name}"\namount = "1 kg"\n').lines

    assert line.tolerance_kg == pytest.approx(share)


def test_a_line_may_say_all_there_is_of_it():
    line = 'name = "x"\n[[line]]\ningredient = "butter"\namount = "110 g"\n'

    assert read(line + 'stock = "8 oz"\n').lines[0].stock_kg == pytest.approx(0.2268, abs=1e-4)
    assert read(line).lines[0].stock_kg is None


@pytest.mark.parametrize("stock", ["a lot", "to taste", "0 g", "3 buckets"])
def test_a_stock_that_is_no_amount_is_an_error_at_its_line(stock):
    line = 'name = "x"\n[[line]]\ningredient = "butter"\namount = "110 g"\n'

    with pytest.raises(FileError, match="butter") as caught:
        read(line + f'stock = "{stock}"\n')

    assert "5" in str(caught.value)
