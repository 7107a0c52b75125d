"""The page in a real browser: no error, the verdict, one screen, nothing too wide, by keyboard, on paper."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from harness import report
from tests.browser import NEEDS_BROWSER, chromium, printed, shown

pytestmark = NEEDS_BROWSER


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="module")
def files(pages: dict[str, str], made: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    written = {name: folder / f"{name}.html" for name in pages}
    for name, file in written.items():
        file.write_text(pages[name], encoding="utf-8")
    written["small"] = folder / "small.html"
    written["small"].write_text(report.html(made.header(), made.small, made.events()), encoding="utf-8")
    lot = [(made.header(run_id=f"2026112{n}T000000-0", unit=f"A{n}"), made.small) for n in range(3)]
    written["lot"] = folder / "lot.html"
    written["lot"].write_text(report.lot_html(lot, ()), encoding="utf-8")
    return written


def sideways(page: Any) -> int:
    """By how many pixels it is wider than the window."""
    return int(page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))


@pytest.mark.parametrize(
    ("name", "verdict"),
    [("good", "PASS"), ("failing", "FAIL"), ("mixed", "FAIL"), ("metrology", "FAIL"), ("empty", "INVALID")],
)
def test_opens_without_error_and_fits_the_first_screen(
    browser: Any, files: dict[str, Path], name: str, verdict: str
) -> None:
    with shown(browser, files[name]) as page:
        assert page.locator("h1 .word").inner_text() == verdict
        assert page.evaluate("document.querySelector('header.first').getBoundingClientRect().bottom") <= 800
        assert sideways(page) <= 0


def test_narrow_and_dark(browser: Any, files: dict[str, Path]) -> None:
    for name in ("failing", "lot"):
        with shown(browser, files[name], width=800, scheme="dark") as page:
            assert sideways(page) <= 0
            paper = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
            assert paper == "rgb(22, 25, 27)"


def test_dots_of_light_figures_have_round_ends(browser: Any, files: dict[str, Path]) -> None:
    """A rule of one figure for all lines would take them, and with them the dots."""
    with shown(browser, files["good"]) as page:
        ends = page.evaluate(
            "[...document.querySelectorAll('path[stroke-linecap=round]')].map(p => getComputedStyle(p).strokeLinecap)"
        )
    assert len(ends) >= 8
    assert set(ends) == {"round"}


def test_the_keyboard_reaches_the_figures_links_and_wide_tables(browser: Any, files: dict[str, Path]) -> None:
    with shown(browser, files["failing"]) as page:
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "Skip to figures and tables"
        assert page.evaluate("getComputedStyle(document.activeElement).outline").endswith("solid 3px")
        page.keyboard.press("Enter")
        assert page.evaluate("location.hash") == "#figures"
        named = page.evaluate("[...document.querySelectorAll('.scroll')].map(e => [e.tabIndex, e.role])")
        assert named
        assert set(map(tuple, named)) == {(0, "region")}
        unnamed = page.evaluate("[...document.querySelectorAll('svg[role=img]:not([aria-label])')].length")
        assert unnamed == 0
        page.locator("#appendix summary").focus()
        page.keyboard.press("Enter")
        assert page.locator("#appendix table").is_visible()


def test_it_prints_whole(browser: Any, files: dict[str, Path]) -> None:
    with shown(browser, files["small"]) as page:
        assert printed(page).startswith(b"%PDF-")
        page.emulate_media(media="print")
        assert page.locator("nav").first.is_hidden()
        assert page.locator("#appendix table").is_hidden()
        assert page.locator("#appendix pre").first.is_visible()


def test_nothing_is_wider_than_the_sheet(browser: Any, files: dict[str, Path]) -> None:
    # 184 mm between the margins of A4, in the pixels of which 96 make an inch.
    for name in ("failing", "metrology", "lot"):
        with shown(browser, files[name], width=int(184 / 25.4 * 96)) as page:
            page.emulate_media(media="print")
            page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
            assert sideways(page) <= 0
