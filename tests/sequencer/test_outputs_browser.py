import shutil
from dataclasses import replace

import pytest
from made_up_result import FIGURES, VERDICTS, load_steps_chart, made_up_result
from playwright.sync_api import sync_playwright
from test_outputs_report import hostile

from sequencer.outputs.report import write_report

CHROMIUM = shutil.which("chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WIDEST_ON_A4_PX = 688
"""A4 less the page's margins of 14 mm, at 96 px to the inch."""

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="needs the command `chromium`, which is not here"),
]


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def reports(tmp_path_factory):
    folder = tmp_path_factory.mktemp("reports")
    long_words = hostile(made_up_result(charts=(load_steps_chart(),)), "unbroken" * 40)
    results = {"usual": made_up_result(), "long": long_words}
    for name, result in results.items():
        write_report(result, folder / f"{name}.html")
    return {name: (folder / f"{name}.html").as_uri() for name in results}


@pytest.fixture
def open_page(browser):
    opened = []

    def open_at(address, width, **options):
        page = browser.new_page(viewport={"width": width, "height": 740}, **options)
        opened.append(page)
        messages = []
        page.on("console", lambda message: messages.append(message.text))
        page.on("pageerror", lambda error: messages.append(str(error)))
        page.on("request", lambda request: messages.append(request.url))
        page.goto(address)
        assert messages == [address]
        return page

    yield open_at
    for page in opened:
        page.close()


@pytest.mark.parametrize("name", ["usual", "long"])
@pytest.mark.parametrize("width", [360, 800, 1280])
def test_the_page_never_scrolls_sideways_and_says_nothing_to_the_console(
    open_page, reports, name, width
):
    page = open_page(reports[name], width)
    page.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_one_chart_of_each_pair_is_shown(open_page, reports):
    for width, shown in ((360, "narrow"), (1280, "wide")):
        page = open_page(reports["usual"], width)
        visible = page.locator("figure svg:visible")
        assert visible.count() == len(made_up_result().charts)
        assert page.locator(f"figure div.{shown} svg:visible").count() == visible.count()


def test_text_in_charts_is_large_enough_on_a_phone(open_page, reports):
    page = open_page(reports["usual"], 360)
    smallest = page.evaluate(
        """Math.min(...[...document.querySelectorAll('figure .narrow svg')].map(svg =>
        10.5 * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width))"""
    )
    assert smallest > 9.0


def test_paper_shows_every_budget_in_light_and_cuts_nothing_off(open_page, reports):
    page = open_page(reports["usual"], WIDEST_ON_A4_PX, color_scheme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    budgets = page.locator("details table")
    assert budgets.count() == len(made_up_result().figures)
    assert all(table.is_visible() for table in budgets.all())
    assert page.evaluate("document.documentElement.scrollWidth") <= WIDEST_ON_A4_PX
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground == "rgb(255, 255, 255)"


def test_no_cell_of_the_verdict_table_runs_into_its_neighbour(open_page, reports):
    for width, media in ((1024, "screen"), (1280, "screen"), (WIDEST_ON_A4_PX, "print")):
        page = open_page(reports["usual"], width)
        page.emulate_media(media=media)
        crowded = page.evaluate(
            """[...document.querySelectorAll('.limits > tbody > tr > td, .figures td')]
            .filter(cell => cell.scrollWidth > cell.clientWidth + 1).map(cell => cell.innerText)"""
        )
        assert crowded == []


def test_names_of_instruments_and_channels_are_not_broken_inside_a_word(open_page, reports):
    for width, media in ((1024, "screen"), (1280, "screen"), (WIDEST_ON_A4_PX, "print")):
        page = open_page(reports["usual"], width)
        page.emulate_media(media=media)
        broken = page.evaluate(
            """[...document.querySelectorAll('.channels tbody th, .channels td:nth-child(2),'
            + '.instruments tbody th')].filter(cell => {
                const range = document.createRange();
                range.selectNodeContents(cell);
                return range.getClientRects().length > 1;
            }).map(cell => cell.innerText)"""
        )
        assert broken == []


def test_a_phone_shows_each_part_of_a_budget_without_scrolling_sideways(open_page, reports):
    page = open_page(reports["usual"], 360)
    page.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
    cut = page.evaluate(
        """[...document.querySelectorAll('.scroll')]
        .filter(box => box.scrollWidth > box.clientWidth).length"""
    )
    assert cut == 0


WIDE_LIMITS = tuple(
    replace(one, lower=-8.125e-3, upper=8.125e-3) if one.figure == "load_regulation" else one
    for one in VERDICTS
)
WIDE_VALUES = tuple(
    replace(one, value=-123.4567e-6, expanded=2.5e-9) if one.name == "load_regulation" else one
    for one in FIGURES
)


@pytest.mark.parametrize(
    ("width", "media"), [(1100, "screen"), (1024, "screen"), (WIDEST_ON_A4_PX, "print")]
)
def test_no_cell_of_the_limits_covers_the_one_beside_it(open_page, tmp_path, width, media):
    path = tmp_path / "wide.html"
    result = made_up_result(charts=(), verdicts=WIDE_LIMITS, figures=WIDE_VALUES)
    write_report(result, path)
    page = open_page(path.as_uri(), width)
    page.emulate_media(media=media)
    over = page.evaluate(
        """[...document.querySelectorAll('.limits > tbody > tr:not(.more)')].flatMap(row =>
        [...row.cells].slice(0, -1).filter((cell, at) => {
            const words = document.createRange();
            words.selectNodeContents(cell);
            const reach = words.getBoundingClientRect().right;
            return reach > row.cells[at + 1].getBoundingClientRect().left + 0.5;
        }).map(cell => cell.innerText))"""
    )
    assert over == []
