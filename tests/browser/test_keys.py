"""The keys of every page: `?` lists them, a letter leads to a room; not while one types, nor switched off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from playwright.sync_api import expect

from browser.test_pages import violations

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from support.running_bench import Watch


def test_keys(open_page: tuple[Page, Watch]) -> None:
    page, _ = open_page
    dialog = page.locator("key-help dialog")
    page.keyboard.press("?")
    expect(dialog).to_be_visible()
    assert violations(page) == []
    page.keyboard.press("Escape")
    expect(dialog).to_be_hidden()
    page.keyboard.press("r")
    expect(page).to_have_url(at_path(page, "/reeds"))
    field = page.get_by_label("Search numbers and remarks")
    field.press_sequentially("p?")
    expect(field).to_have_value("p?")
    expect(dialog).to_be_hidden()
    page.goto(at_path(page, "/help"))
    page.get_by_role("link", name="lists the keys").click()
    page.get_by_label("These keys are on").uncheck()
    page.get_by_role("button", name="Close").click()
    page.keyboard.press("?")
    expect(dialog).to_be_hidden()


def at_path(page: Page, path: str) -> str:
    """The address of a path on the bench that is open."""
    return "/".join(page.url.split("/")[:3]) + path
