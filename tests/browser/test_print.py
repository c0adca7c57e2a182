"""Each page on paper: nothing to press, dark on white in every look, nothing cut off, no heading alone."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Final

import pypdf
import pytest

from support.every_page import EVERY_PAGE
from support.running_bench import watched_page

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page, StorageState

    from support.running_bench import Bench

#: What is amiss on paper. Left out: what only speech hears (`unseen`), and pictures with their own inks.
#: Fields of the grading sheet are its figures; on paper they are no controls any more, but lines to write on.
_AMISS: Final = """() => {
    const shown = (one) => one.checkVisibility({ checkVisibilityCSS: true, contentVisibilityAuto: true });
    const named = (one) => `${one.tagName.toLowerCase()} ${one.textContent.trim().slice(0, 40)}`;
    const found = [];
    const pressed = "button, nav, .button, input:not([type=hidden]), select, textarea, audio, summary";
    for (const one of document.querySelectorAll(pressed)) {
        const written = one.closest(".grading") && getComputedStyle(one).appearance === "none";
        if (shown(one) && !written) found.push(`to press: ${named(one)}`);
    }
    const light = (colour) => {
        const part = colour.match(/[\\d.]+/g).slice(0, 3).map((one) => {
            const share = Number(one) / 255;
            return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
        });
        return 0.2126 * part[0] + 0.7152 * part[1] + 0.0722 * part[2];
    };
    const clear = (colour) => colour === "transparent" || /, 0\\)$/.test(colour);
    for (const one of document.querySelectorAll("body *")) {
        if (!shown(one) || one.closest("svg, .unseen, history-chart, forecast-chart")) continue;
        const style = getComputedStyle(one);
        const words = [...one.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
        if (words && !clear(style.color) && light(style.color) > 0.18) found.push(`pale: ${named(one)}`);
        if (!clear(style.backgroundColor) && light(style.backgroundColor) < 0.8 && !one.matches("input"))
            found.push(`dark ground: ${named(one)}`);
        if (one.matches("th, td") && one.getBoundingClientRect().right > innerWidth + 1)
            found.push(`cut off: ${named(one)}`);
    }
    const heads = [...document.querySelectorAll("h1, h2, h3")].filter(shown);
    const after = (head) => {
        const range = document.createRange();
        range.setStartAfter(head);
        const next = heads.find((one) => one !== head && head.compareDocumentPosition(one) & 4
            && one.tagName <= head.tagName);
        if (next) range.setEndBefore(next);
        else range.setEndAfter(document.querySelector("main").lastElementChild);
        const words = document.createTreeWalker(range.commonAncestorContainer, NodeFilter.SHOW_TEXT);
        for (let node = words.nextNode(); node; node = words.nextNode()) {
            const holder = node.parentElement;
            if (range.intersectsNode(node) && node.data.trim() && !head.contains(node)
                && !holder.closest("script, h1, h2, h3") && shown(holder)) return true;
        }
        return false;
    };
    for (const head of heads) if (!after(head)) found.push(`stands alone: ${named(head)}`);
    return [...new Set(found)];
}"""


@pytest.fixture(scope="module")
def paper(browser: Browser, season_bench: Bench, season_entry: StorageState) -> Iterator[Page]:
    """A signed-in page in the dark look, as wide as A4 between its margins, on paper."""
    context = browser.new_context(viewport={"width": 695, "height": 1017}, storage_state=season_entry)
    context.add_cookies([{"name": "canebench-theme", "value": "dark", "url": season_bench.address}])
    page, _ = watched_page(context, season_bench)
    page.emulate_media(media="print")
    yield page
    context.close()


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_paper_holds_what_is_to_be_read_and_no_more(paper: Page, season_bench: Bench, path: str) -> None:
    paper.goto(season_bench.address + path)
    assert paper.evaluate("document.documentElement.dataset.theme") == "dark"
    assert paper.evaluate(_AMISS) == []
    assert paper.evaluate("document.documentElement.scrollWidth") <= 695


def test_the_grading_sheet_is_on_paper(paper: Page, season_bench: Bench) -> None:
    """Each reed has its row there, with its place and the whole of what is remarked of it."""
    paper.goto(season_bench.address + "/lots/1")
    rows = paper.locator(".grading tbody[data-reed]")
    assert rows.count() == 12
    assert all(rows.nth(index).locator("tr").first.is_visible() for index in range(12))
    remark = rows.first.locator(".for-paper")
    assert remark.is_visible()
    assert remark.inner_text().endswith("leave it alone and play.")
    # What was typed since is there too; the browser says before it prints.
    field = rows.first.locator("[name^=remarks]")
    field.evaluate("(one) => { one.value = 'Keep for the spring.'; }")
    paper.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert remark.inner_text() == "Keep for the spring."
    field.evaluate("(one) => { one.value = ''; }")


def test_paper_says_whose_it_is_and_of_which_day(paper: Page, season_bench: Bench) -> None:
    paper.goto(season_bench.address + "/reeds/1")
    head = paper.locator(".paper-head")
    assert head.is_visible()
    today = paper.evaluate("new Date().toLocaleDateString('sv-SE')")
    assert head.inner_text().split("\n")[-1] == f"Reed 1 · {today}"
    paper.emulate_media(media="screen")
    assert not head.is_visible()
    paper.emulate_media(media="print")


@pytest.mark.parametrize(
    ("rows", "kind", "sheets"), [(14, "roomy", 1), (24, "close", 1), (34, "long", 1), (45, "long", 2)]
)
def test_a_week_is_on_one_sheet(paper: Page, season_bench: Bench, rows: int, kind: str, sheets: int) -> None:
    """As many reeds as are said to fit, under long names, on either paper; the control is more than fit."""
    paper.goto(season_bench.address + "/calendar/sheet")
    paper.evaluate(
        """([rows, kind]) => {
            const long = "Wilhelmina Featherstonehaugh of the North Quay at Ellerquay".repeat(2);
            const body = document.querySelector("tbody");
            const row = body.rows[0];
            for (const name of [row.querySelector(".whose"), document.querySelector(".paper-head strong")])
                name.textContent = long;
            body.replaceChildren(...Array.from({ length: rows }, () => row.cloneNode(true)));
            document.body.className = `week-paper ${kind}`;
        }""",
        [rows, kind],
    )
    for size, wide in (("A4", 297), ("Letter", 279)):
        pages = pypdf.PdfReader(io.BytesIO(paper.pdf(format=size, prefer_css_page_size=True))).pages
        assert len(pages) == sheets
        assert (round(pages[0].mediabox.width / 72 * 25.4) == wide) == (kind != "long")


def test_rows_stay_whole(paper: Page, season_bench: Bench) -> None:
    for path, rows in (("/reeds", "tbody tr"), ("/lots/1", ".grading tbody")):
        paper.goto(season_bench.address + path)
        inside = paper.locator(rows).first.evaluate("(one) => getComputedStyle(one).breakInside")
        assert inside == "avoid"


def test_what_is_amiss_on_paper_is_noticed(paper: Page, season_bench: Bench) -> None:
    """Control: a page with no print styles, in the dark look."""
    paper.goto(season_bench.address + "/lots/1")
    paper.evaluate("document.querySelector('link[href$=\"/print.css\"]').remove()")
    kinds = {found.partition(":")[0] for found in paper.evaluate(_AMISS)}
    assert kinds >= {"to press", "pale", "dark ground", "cut off"}


def test_a_heading_that_stands_alone_is_noticed(paper: Page, season_bench: Bench) -> None:
    """Control: a section of which only its form would be read."""
    paper.goto(season_bench.address + "/reeds/1")
    paper.evaluate("document.querySelector('[aria-labelledby=move-title]').classList.remove('off-paper')")
    assert paper.evaluate(_AMISS) == ["stands alone: h2 Move it on"]
