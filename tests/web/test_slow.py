"""Pages whose answers take long: nobody waits at a blank window, and none is an error."""

import httpx
import pytest

PAGES = ("/", "/runs/3", "/capacity", "/progress")


@pytest.fixture
def slow_page(browser, slow_server):
    context = browser.new_context(base_url=slow_server, viewport={"width": 1280, "height": 900})
    made = context.new_page()
    yield made
    context.close()


@pytest.mark.parametrize("path", PAGES)
def test_a_page_stands_as_a_shell_until_it_is_worked_out(slow_page, path):
    answer = slow_page.goto(path)
    assert answer.status == 200
    slow_page.wait_for_selector(".fw-working >> text=Being worked out")
    assert slow_page.locator(".fw-working nav a").count() > 5  # the way to elsewhere is there at once
    slow_page.wait_for_function("!document.querySelector('.fw-working')")
    assert slow_page.locator("header.fw-head").count() == 1 and slow_page.locator(".fw-main h1").is_visible()
    assert "Being worked out" not in slow_page.locator(".fw-main").inner_text()
    # The look comes with the shell, once.
    assert (
        slow_page.evaluate(
            "[...document.querySelectorAll('style')].filter(s => s.textContent.includes('.fw-head')).length"
        )
        == 1
    )


def test_a_slow_twin_answers_too(slow_server):
    assert httpx.get(f"{slow_server}/capacity.json", timeout=60).status_code == 200


def test_a_page_that_fails_says_so_in_our_words_before_and_after_its_shell(browser, broken_server):
    """One page fails at once, one after a while: 500 with a way back, or the same where the page was to be."""
    context = browser.new_context(base_url=broken_server)
    made = context.new_page()
    answer = made.goto("/")
    assert answer.status == 500 and "This page could not be drawn" in answer.text() and 'href="/"' in answer.text()
    assert made.goto("/usual").status == 200
    made.wait_for_selector("text=This page could not be drawn")
    assert made.locator("a:has-text('Back to the first page')").count() == 1
    context.close()


LATE = """
let met = false;
Object.defineProperty(window, 'did_handshake', {
  get: () => met && window.late === true,
  set: (value) => { met = value; },
});
"""


def test_a_button_that_is_pressed_early_waits_for_what_was_typed(page):
    """The framework sends what was typed and pressed before it meets its server afterwards, in no order."""
    page.add_init_script(LATE)
    page.goto("/settings")
    page.locator("input[name=mass]").fill("7")
    save = page.get_by_role("button", name="Save")
    save.evaluate(
        "(button) => { window.pressed = 0; button.addEventListener('click', () => { window.pressed += 1; }); }"
    )
    save.click()
    save.click()
    assert page.evaluate("window.pressed") == 0
    page.evaluate("window.late = true")
    page.get_by_text("cannot be").wait_for()
    assert page.evaluate("window.pressed") == 1
