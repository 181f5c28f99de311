"""The page in a real browser: the sentence, the number, the ribbon, on every screen."""

from __future__ import annotations

import itertools
import signal
import time
from collections.abc import Callable

import pytest
from fabricated_log import Fabricated
from playwright.sync_api import Page, expect
from served import Served, publisher, send, wait_for

from logger import events as ev

STAGES = ["weighing", "pouring", "preheating", "baking", "cooling", "ready", "closed"]
SENTENCES = {
    "weighing": "Next: whole milk, 180 g.",
    "pouring": "Granulated sugar: 38 g more.",
    "preheating": "The oven is holding 176 °C: put them in.",
    "baking": "Done at about ",
    "cooling": "Frost at about ",
    "ready": "Cool enough to frost.",
    "closed": "Batch closed at ",
}


# What of the layout the tests judge, in CSS pixels.
MEASURES = """() => {
  const root = document.documentElement;
  const box = (id) => document.querySelector(id).getBoundingClientRect();
  const size = (id) => parseFloat(getComputedStyle(document.querySelector(id)).fontSize);
  const targets = [...document.querySelectorAll("button, select, a")].filter((e) => e.offsetParent);
  // A button of a line reaches over its row.
  const lower = (than, isLine) => targets.map((e) => [e, e.closest(".line")]).filter(
    ([e, line]) => (line !== null) === isLine && (line ?? e).getBoundingClientRect().height < than
  ).map(([e]) => e.textContent);
  return {
    overflow: root.scrollWidth - root.clientWidth,
    sentence: box("#now").top, number: box("#number").bottom, ribbon: box("#ribbon").bottom,
    digits: size("#number"), text: size("#now"), height: window.innerHeight,
    small: lower(44, false),
    smallLines: lower(matchMedia("(pointer: fine)").matches ? 33 : 44, true),
    unnamed: targets.filter(
      (e) => !(e.textContent.trim() || e.ariaLabel || e.labels?.length)
    ).length,
    lang: root.lang,
  };
}"""
TOKENS = """() => {
  const style = getComputedStyle(document.documentElement);
  const names = ["page", "ribbon", "ink", "quiet", "act", "sure", "heat", "on-act"];
  const value = (name) => style.getPropertyValue("--" + name).trim();
  return Object.fromEntries(names.map((name) => [name, value(name)]));
}"""


def plain(page: Page, selector: str) -> str:
    """An element's text with ordinary spaces."""
    return (page.text_content(selector) or "").replace("\u00a0", " ")


def settled(page: Page, start: str = "") -> None:
    """Wait until the state is drawn."""
    page.wait_for_function(
        """start => {
          const text = document.querySelector("#now").textContent.replaceAll("\\u00a0", " ");
          return text.startsWith(start) && text !== "Looking at the kitchen.";
        }""",
        arg=start,
    )


@pytest.mark.parametrize("stage", STAGES)
def test_every_stage_has_its_sentence_and_its_ribbon(
    standing: Callable[[str], Served], look: Callable[..., Page], stage: str
) -> None:
    page = look(standing(stage))

    settled(page, SENTENCES[stage])
    page.wait_for_selector("#band path.core", state="attached")

    label = page.get_attribute("#band", "aria-label") or ""
    assert "weighing from" in label
    assert page.locator("h1").count() == 1
    assert page.locator("#lines .line").count() == 9
    assert "local food code" in plain(page, "#safety")


def test_a_kitchen_without_a_batch_says_what_to_do_next(
    standing: Callable[[None], Served], look: Callable[..., Page]
) -> None:
    page = look(standing(None))

    settled(page)

    assert "Open a batch" in plain(page, "#now")
    expect(page.get_by_role("button", name="Open the batch")).to_be_visible()
    assert page.locator("#ribbon").is_hidden()


@pytest.mark.parametrize(
    ("size", "scheme"), list(itertools.product(["phone", "tablet", "desktop"], ["light", "dark"]))
)
@pytest.mark.parametrize("stage", ["pouring", "cooling", "closed"])
def test_it_fits_every_screen_in_light_and_dark(
    standing: Callable[[str], Served], look: Callable[..., Page], stage: str, size: str, scheme: str
) -> None:
    page = look(standing(stage), size, scheme)
    settled(page, SENTENCES[stage])
    page.wait_for_selector("#band path.core", state="attached")

    sizes = page.evaluate(MEASURES)

    assert sizes["overflow"] <= 0
    assert sizes["sentence"] < sizes["number"] < sizes["ribbon"]
    # Sentence, number and ribbon are seen without scrolling.
    assert sizes["ribbon"] <= sizes["height"]
    assert sizes["digits"] > sizes["text"] * 1.5
    assert sizes["small"] == []
    assert sizes["smallLines"] == []
    assert sizes["unnamed"] == 0
    assert sizes["lang"] == "en"


def test_on_a_tablet_the_digits_can_be_read_from_two_metres(
    standing: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    page = look(standing("pouring"), "tablet")
    settled(page, SENTENCES["pouring"])

    # A 10-inch tablet of 820 x 1180 CSS pixels has 5.66 of them to the millimetre; digits of a
    # sans serif are at least 0.70 of the font size high.
    size_px = page.evaluate(
        "parseFloat(getComputedStyle(document.querySelector('#digits')).fontSize)"
    )

    assert size_px * 0.70 / 5.66 >= 13


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_stand_out_from_the_page_and_from_the_ribbon(
    standing: Callable[[str], Served], look: Callable[..., Page], scheme: str
) -> None:
    page = look(standing("cooling"), scheme=scheme)

    tokens = page.evaluate(TOKENS)

    for name in ("ink", "quiet", "act", "sure", "heat"):
        for ground in ("page", "ribbon"):
            assert contrast(tokens[name], tokens[ground]) >= 4.5, (name, ground)
    assert contrast(tokens["on-act"], tokens["act"]) >= 4.5


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it (relative luminance of sRGB)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_a_live_value_moves_the_number_and_the_sentence_together(
    serve: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    served = serve("pouring")
    page = look(served)
    settled(page, SENTENCES["pouring"])

    with publisher(served.broker) as wire:
        for grams in (270, 285, 291):
            t_us = time.time_ns() // 1000
            send(wire, "bench-scale/mass", t_us, 0.412 + grams / 1000, division=0.001)
            page.wait_for_function(
                "missing => document.querySelector('#digits').textContent === missing",
                arg=str(300 - grams),
            )
            assert plain(page, "#now") == f"Granulated sugar: {300 - grams} g more."


def test_an_old_value_goes_quiet_and_says_its_age(
    serve: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    served = serve("pouring")
    page = look(served)
    settled(page, SENTENCES["pouring"])

    page.wait_for_selector("#number.old", timeout=20_000)

    assert " s old" in plain(page, "#word")


def fed(
    serve: Callable[[str], Served], look: Callable[..., Page]
) -> tuple[Served, Fabricated, Page]:
    """A kitchen that bakes, the log that a test writes on, and its page, which may lose it."""
    served = serve("baking")
    page = look(served, may_fail="ERR_")
    settled(page, SENTENCES["baking"])
    page.wait_for_selector("#events li")
    assert served.made is not None
    return served, served.made, page


def test_the_page_comes_back_exactly_after_the_server_was_killed(
    serve: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    served, made, page = fed(serve, look)
    before = page.locator("#events li").count()

    served.page.stop(signal.SIGKILL)
    expect(page.locator("#link")).to_be_visible()
    for i in range(3):
        made.say(1701 + i, ev.Alert("note", f"said while away {i}"))
    made.store.commit()
    served.start()
    page.wait_for_function(
        "wanted => document.querySelectorAll('#events li').length === wanted", arg=before + 3
    )

    expect(page.locator("#link")).to_be_hidden()
    newest = [plain(page, f"#events li:nth-child({i}) span") for i in (1, 2, 3)]
    assert newest == [f"said while away {i}" for i in (2, 1, 0)]


def test_a_list_of_batches_that_fails_is_said_until_it_comes(
    serve: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    _, made, page = fed(serve, look)

    page.route("**/api/batches", lambda route: route.abort())
    made.say(1701, ev.BatchStage("cooling"))
    made.store.commit()
    expect(page.locator("#link")).to_contain_text("does not answer")
    page.unroute("**/api/batches")
    made.say(1702, ev.BatchStage("baking"))
    made.store.commit()

    expect(page.locator("#link")).to_be_hidden()


def test_any_key_is_next_but_a_stage_needs_a_second_press(
    serve: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    served = serve("baking")
    page = look(served)
    settled(page, SENTENCES["baking"])
    sent: list[str] = []
    page.on("request", lambda r: sent.append(r.post_data or "") if r.method == "POST" else None)
    button = page.locator("#actions button.next")

    page.keyboard.press("Tab")
    page.keyboard.press("n")
    expect(button).to_have_text("Out of the oven: press again")
    assert sent == []
    page.keyboard.press("n")

    wait_for(lambda: page.wait_for_timeout(20) or sent, "the mark is sent")
    assert '"out of oven"' in sent[0]


def test_the_arrow_keys_read_temperatures_off_the_ribbon(
    standing: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    page = look(standing("cooling"))
    settled(page, SENTENCES["cooling"])
    page.wait_for_selector("#band path.core", state="attached")

    page.focus("#band")
    for _ in range(4):
        page.keyboard.press("ArrowLeft")

    assert "core" in plain(page, "#band .strong:last-of-type")


def test_after_the_end_what_was_said_stands_beside_what_came_true(
    standing: Callable[[str], Served], look: Callable[..., Page]
) -> None:
    page = look(standing("closed"))
    settled(page, SENTENCES["closed"])

    rows = [
        row.replace("\u00a0", " ") for row in page.locator("#summary tbody tr").all_inner_texts()
    ]

    assert [row.split()[0] for row in rows] == ["Done", "Unmould", "Frost", "Oven"]
    assert "between" in rows[2]
    assert "came true" in rows[2]
    assert "this scale can’t tell" in plain(page, "#lines")
    assert "over by 6 g" in plain(page, "#lines")
