"""From an empty folder: somebody without a terminal begins on a page."""

import datetime as dt

from tests.conftest import fit_of, simulate


def test_an_empty_folder_is_served_with_three_ways_to_begin(browser, empty_server, tmp_path):
    address, folder = empty_server
    files = tmp_path / "watch"
    files.mkdir()
    for day in (3, 5):
        (files / f"{day}.fit").write_bytes(fit_of(simulate(dt.date(2026, 3, day), [(900, 0.7)], seed=day)))
    page = browser.new_context(base_url=address).new_page()
    page.goto("/")
    page.wait_for_selector("text=Three ways to begin")
    assert page.locator("input[type=file]").count() == 1
    assert page.get_by_role("button", name="Make the demo").is_enabled()
    page.locator("input[name=begin-folder]").fill(str(files / "nowhere"))
    page.get_by_role("button", name="Read this folder").click()
    page.wait_for_selector("text=there is no such file or folder")  # beside the button, and the page stays
    assert page.locator("text=Three ways to begin").count() == 1
    page.locator("input[name=begin-folder]").fill(str(files))
    page.get_by_role("button", name="Read this folder").click()
    page.wait_for_selector("text=Newest run", timeout=60_000)
    assert page.locator("text=Three ways to begin").count() == 0 and (folder / "library.sqlite").is_file()


def test_a_folder_that_holds_other_things_is_not_made_a_library(tmp_path):
    from tests.program import footwork

    (tmp_path / "notes.txt").write_text("mine")
    done = footwork("serve", "--port", "0", library=tmp_path)
    assert done.returncode != 0 and "no library" in done.stderr and not (tmp_path / "library.sqlite").exists()


def test_what_came_in_is_named_and_the_rest_counted(page):
    page.goto(f"/?added={','.join(map(str, range(1, 15)))}")
    said = page.locator(".note:has-text('Added just now')")
    said.wait_for()
    assert said.locator("a[href*='/runs/']").count() == 12 and said.inner_text().endswith(" and 2 more.")
    page.goto("/?added=3,4")
    said.wait_for()
    assert "more" not in said.inner_text()
