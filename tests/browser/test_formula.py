"""The formula in plain view, the way back from an over-pour, and a line's budget, in a browser."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from served import Served, wait_for

from logger import events as ev

HOUSEHOLD: list[dict[str, Any]] = [
    {
        "name": "Pear and ginger layer cake",
        "version": "by the cup",
        "makes": {
            "pans": 2,
            "portions": 16,
            "pan": {"shape": "round", "diameter": "200 mm", "depth": "50 mm"},
            "batter_per_pan": "420 g",
        },
        "line": [
            {"ingredient": "egg", "amount": "3 large", "bowl": "mixer"},
            {"ingredient": "cake flour", "amount": "2 cups", "bowl": "dry", "lot": "L2290"},
            {"ingredient": "granulated sugar", "amount": "300 g", "bowl": "dry"},
            {"ingredient": "butter", "amount": "170 g", "bowl": "mixer"},
            {"ingredient": "baking powder", "amount": "2 tsp", "bowl": "dry"},
        ],
        "step": [{"kind": "mix", "text": "beat the eggs", "speed": "fast", "time": "3 min"}],
    },
    {
        "name": "Brown-butter cream cheese frosting",
        "line": [
            {"ingredient": "cream cheese", "amount": "340 g"},
            {"ingredient": "icing sugar", "amount": "180 g"},
        ],
    },
]
WAYS = (
    {"choice": "take back", "text": "Take 6 g of granulated sugar back out, down to 300 g."},
    {"choice": "leave", "text": "Leave it: 6 g (2.1 %) too much of granulated sugar."},
)
SHAPE = """() => {
  const root = document.documentElement;
  const seen = (e) => e.getClientRects().length > 0;
  const targets = [...document.querySelectorAll("button, select, summary, header a, li > a")];
  return {
    overflow: root.scrollWidth - root.clientWidth,
    small: targets.filter(seen).filter((e) => e.getBoundingClientRect().height < 43.9)
      .map((e) => e.textContent),
    headings: [...document.querySelectorAll("h1")].map((e) => e.textContent),
    sizes: new Set([...document.querySelectorAll("main *")].filter((e) => e.textContent.trim())
      .map((e) => getComputedStyle(e).fontSize)).size,
    faces: new Set([...document.querySelectorAll("main *")]
      .map((e) => getComputedStyle(e).fontFamily)).size,
  };
}"""


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u2212", "-")


def drawn(page: Page) -> str:
    """Wait until the view is drawn; gives its text."""
    page.wait_for_selector("body[data-drawn]")
    return plain(page.inner_text("main"))


def test_the_list_leads_to_the_formula_and_back(
    standing: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    page = look(standing("weighing"))

    page.get_by_role("link", name="The formula").click()
    text = drawn(page)
    page.get_by_role("link", name="Back to the batch").click()

    assert "Pear and ginger layer cake" in text
    expect(page.locator("#lines .line")).to_have_count(9)


def test_the_sheet_says_what_goes_in_what_it_is_and_what_to_declare(
    serve: Callable[..., Served], look: Callable[..., Page]
) -> None:
    page = look(serve("weighing", HOUSEHOLD), path="formula?batch=b-pear")

    text = drawn(page)

    flour = plain(page.locator("tr", has=page.get_by_text("cake flour", exact=True)).inner_text())
    assert "2 cups" in flour
    assert "274 g ± 27" in flour
    assert "100 %" in flour
    assert "record 20084" in text
    assert "lot L2290" in text
    assert "Makes 2 pans, round 200 x 50 mm" in text
    assert "Sugar is 109 % of the flour" in text
    assert "baking powder" in text
    assert "wheat" in text
    assert "the local food law decides" in text
    assert "beat the eggs" in text
    assert page.locator(".ratios svg .bracket").count() >= 6
    assert page.locator("h1").all_inner_texts() == [formula["name"] for formula in HOUSEHOLD]


@pytest.mark.parametrize(
    ("size", "scheme"), list(itertools.product(["phone", "tablet", "desktop"], ["light", "dark"]))
)
def test_the_formula_fits_every_screen_in_one_typeface_and_three_sizes(
    standing: Callable[[str], Served], look: Callable[..., Page], size: str, scheme: str
) -> None:
    page = look(standing("weighing"), size, scheme, path="formula?batch=b-pear")
    drawn(page)

    shape = page.evaluate(SHAPE)

    assert shape["overflow"] <= 0
    assert shape["small"] == []
    assert shape["headings"] == ["Pear and ginger layer cake"]
    assert shape["sizes"] <= 3
    assert shape["faces"] == 1


def test_a_batchs_formula_is_saved_with_one_button_and_its_versions_are_compared(
    serve: Callable[..., Served], look: Callable[..., Page]
) -> None:
    served = serve("weighing", HOUSEHOLD[:1])
    page = look(served, path="formula?batch=b-pear")
    drawn(page)

    page.get_by_role("button", name="Save it").click()
    page.get_by_role("link", name="version 1").wait_for()
    changed = json.loads(json.dumps(HOUSEHOLD[0]).replace("170 g", "150 g"))
    served.ask("/api/formulas", {"formula": changed | {"version": "less butter"}})
    page.get_by_role("link", name="version 1").click()
    text = drawn(page)

    assert "Version 2 (“less butter”)" in text
    butter = plain(page.locator("#changes tr", has_text="butter").inner_text()).split("\t")
    assert butter[:4] == ["butter", "170 g", "150 g", "-20 g"]
    page.get_by_role("link", name="Version 1").click()
    assert "170 g" in drawn(page)


def test_all_saved_formulas_are_listed(
    serve: Callable[..., Served], look: Callable[..., Page]
) -> None:
    served = serve("weighing")
    for formula in HOUSEHOLD:
        served.ask("/api/formulas", {"formula": formula})
    page = look(served, path="formula?all")
    drawn(page)

    page.get_by_role("link", name="Brown-butter cream cheese frosting").click()

    page.wait_for_url("**/formula?name=brown-butter-cream-cheese-frosting")
    assert "There is no flour" in drawn(page)


def test_a_formula_that_is_not_there_is_said_with_the_remedy(
    standing: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    page = look(standing("weighing"), may_fail="404", path="formula?name=no-such")

    expect(page.locator("#link")).to_contain_text("GET /api/formulas lists them")


def test_it_prints_in_black_without_what_can_only_be_pressed(
    standing: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    page = look(standing("weighing"), "desktop", "dark", path="formula?batch=b-pear")
    drawn(page)

    page.emulate_media(media="print")

    assert page.locator("header nav").is_hidden()
    assert page.get_by_role("button", name="Save it").is_hidden()
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert page.locator(".sentences li").first.is_visible()


def test_the_lines_of_several_formulas_are_grouped(
    serve: Callable[..., Served], look: Callable[..., Page]
) -> None:
    page = look(serve("weighing", HOUSEHOLD))

    page.wait_for_selector("#lines .line")

    assert page.locator("#lines h2").all_inner_texts() == [f["name"] for f in HOUSEHOLD]


def test_a_counted_line_goes_in_with_one_button_and_no_mass(
    serve: Callable[..., Served], look: Callable[..., Page]
) -> None:
    page = look(serve("weighing", HOUSEHOLD), may_fail="503")
    sent: list[str] = []
    page.on("request", lambda r: sent.append(r.post_data or "") if r.method == "POST" else None)

    page.get_by_role("button", name="In: 3 large").click()

    wait_for(lambda: page.wait_for_timeout(20) or sent, "the mark is sent")
    assert json.loads(sent[0]) == {"mark": "confirm", "line": "egg"}


def test_what_was_counted_in_is_said_so_in_its_row(
    serve: Callable[..., Served], look: Callable[..., Page]
) -> None:
    served = serve("weighing", HOUSEHOLD)
    assert served.made is not None
    page = look(served)
    page.wait_for_selector("#lines .line.open")

    counted = ev.WeighingAddition(
        "egg", None, None, 0.15, 0.147, 0.153, None, "undecidable", None, start_at=None
    )
    served.made.say(321, counted)
    served.made.store.commit()

    expect(page.locator("#lines .line", has_text="egg")).to_contain_text("in, by count")
    expect(page.locator("#then")).to_contain_text("Egg: confirmed")


def test_a_way_back_is_chosen_by_what_is_offered_and_stays_in_the_row(
    serve: Callable[..., Served], look: Callable[..., Page]
) -> None:
    served = serve("weighing")
    made = served.made
    assert made is not None
    withheld = ({"choice": "rescale", "text": "No rescaling: it takes 320 g of butter."},)
    made.say(321, ev.WeighingRecovery("granulated sugar", WAYS, None, withheld))
    made.store.commit()
    page = look(served, may_fail="503")
    sent: list[str] = []
    page.on("request", lambda r: sent.append(r.post_data or "") if r.method == "POST" else None)

    group = page.get_by_role("group", name="A way back for granulated sugar")
    expect(group.get_by_role("button")).to_have_text(["Take back", "Leave it"])
    offered = plain(group.inner_text())
    group.get_by_role("button", name="Leave it").click()
    wait_for(lambda: page.wait_for_timeout(20) or sent, "the mark is sent")
    made.say(322, ev.WeighingRecovery("granulated sugar", WAYS, "leave"))
    made.store.commit()

    expect(group).to_be_hidden()
    assert "6 g (2.1 %) too much of granulated sugar." in offered
    assert "No rescaling" in offered
    mark = {"mark": "recover", "line": "granulated sugar", "choice": "leave"}
    assert json.loads(sent[0]) == mark
    expect(page.locator("#lines li", has_text="granulated sugar")).to_contain_text("Leave it: 6 g")


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (1024, 768)])
def test_every_way_back_is_seen_without_scrolling_on_a_low_screen(
    serve: Callable[..., Served], look: Callable[..., Page], width: int, height: int
) -> None:
    served = serve("weighing")
    assert served.made is not None
    take, leave = ({**way, "text": way["text"] + " This is what it would do." * 8} for way in WAYS)
    rescale = {"choice": "rescale", "text": f"Make everything 2 % larger: {'and so on, ' * 12}"}
    served.made.say(321, ev.WeighingRecovery("granulated sugar", (take, rescale, leave), None))
    served.made.store.commit()
    page = look(served)
    page.set_viewport_size({"width": width, "height": height})

    page.wait_for_selector("#recovery button")
    page.wait_for_selector("#band path.core", state="attached")

    bottom = page.locator("#recovery button").last.bounding_box()
    ribbon = page.locator("#ribbon").bounding_box()
    assert bottom is not None
    assert ribbon is not None
    assert bottom["y"] + bottom["height"] <= ribbon["y"]


def test_a_lines_measure_opens_what_its_uncertainty_is_made_of(
    standing: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    page = look(standing("weighing"))
    button = page.get_by_role("button", name="What the uncertainty of cake flour is made of")

    button.click()
    told = plain(page.locator(".budget").inner_text())
    button.click()

    assert "0.41 g" in told
    assert "± 1.10 g" in told
    assert "99.0 %" in told
    expect(page.locator(".budget")).to_have_count(0)


def test_a_question_asked_again_is_listed_once_and_its_answer_in_plain_words(
    serve: Callable[..., Served], look: Callable[..., Page]
) -> None:
    served = serve("weighing")
    made = served.made
    assert made is not None
    page = look(served)
    page.wait_for_selector("#events li")

    for s, chosen in ((321, None), (322, None), (323, "leave")):
        made.say(s, ev.WeighingRecovery("granulated sugar", WAYS, chosen))
    made.store.commit()

    expect(page.locator("#events li").first).to_contain_text("left as it is")
    expect(page.locator("#events li", has_text="choose a way back")).to_have_count(1)
