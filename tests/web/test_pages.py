"""Every page in a real browser: it opens, says what its JSON twin says, works by hand, fits a phone."""

import json
import re

import httpx
import numpy as np
import pytest

from tests.conftest import fit_of, simulate

PAGES = {
    "/": "/today.json",
    "/runs": "/runs.json",
    "/runs/3": "/runs/3.json",
    "/capacity": "/capacity.json",
    "/usual": "/usual.json",
    "/race": "/race.json?distance=half",
    "/race/log": "/race/log.json",
    "/sessions": "/sessions.json",
    "/devices": "/devices.json",
    "/power-at-speed": "/power-at-speed.json",
    "/diary": "/diary.json",
    "/library": "/library.json",
    "/runs/3/edit": "/runs/3/edit.json",
    "/runs?by=week": "/runs.json?by=week",
    "/settings": "/settings.json",
    "/methods": "/methods.json",
}


def until(page, look, seconds=40):
    """What a look at the program gives, once that is something; a busy machine takes its time."""
    for _ in range(2 * seconds):
        if found := look():
            return found
        page.wait_for_timeout(500)
    return look()


def twin(served, path):
    found = httpx.get(served[0] + path)
    assert found.status_code == 200, found.text
    return json.loads(found.text, parse_constant=lambda c: pytest.fail(f"{c} in {path}"))


@pytest.mark.parametrize("path", ["/", "/runs/3", "/capacity", "/race", "/usual", "/power-at-speed"])
def test_numbers_on_the_page_are_those_of_its_twin(page, served, path):
    page.goto(path)
    page.wait_for_selector(".num[data-key]")
    found = twin(served, PAGES[path])
    shown = page.eval_on_selector_all(".num[data-key]", "all => all.map(e => [e.dataset.key, e.dataset.value ?? null])")
    assert shown
    for key, value in shown:
        wanted = found
        for part in key.split("."):
            wanted = wanted[int(part) if part.isdigit() else part]
        wanted = wanted["value"]
        if wanted is None:
            assert value is None
        else:
            factor = 1e-3 if key in ("w_prime", "balance.minimum") else 1.0
            assert float(value) == pytest.approx(wanted * factor, rel=1e-9), key


def test_the_runs_page_holds_every_run_of_its_twin(page, served):
    page.goto("/runs")
    page.wait_for_selector(".ag-row")
    ids = page.evaluate(
        "() => { const out = []; "
        "getElement(document.querySelector('.fw-grid').id.slice(1)).api.forEachNode(n => "
        "out.push(n.data.id)); return out; }"
    )
    assert sorted(ids) == sorted(r["id"] for r in twin(served, "/runs.json"))


def test_runs_sort_find_and_open(page, served):
    page.goto("/runs")
    page.wait_for_selector(".ag-row")
    page.locator(".ag-header-cell[col-id=power] .ag-header-cell-text").click()
    page.locator(".ag-header-cell[col-id=power] .ag-header-cell-text").click()
    page.wait_for_timeout(300)
    first = page.locator(".ag-row[row-index='0'] [col-id='power']").inner_text()
    assert int(first) == max(round(r["power_w"]) for r in twin(served, "/runs.json"))
    page.locator(".find input").fill("test")
    page.wait_for_timeout(500)
    assert page.locator(".ag-center-cols-container .ag-row").count() == 2
    page.locator(".ag-row[row-index='0'] [col-id='date']").click()
    page.wait_for_url(re.compile(r"/runs/\d+$"))


def test_the_race_follows_its_inputs(page):
    page.goto("/race")
    page.wait_for_selector(".num[data-key=power]")
    page.wait_for_function("document.querySelector('input[name=distance]')?.value === 'half'")  # the page has come
    before = page.locator(".num[data-key=power]").get_attribute("data-value")
    page.locator("input[name=distance]").fill("5km")
    page.wait_for_function("v => document.querySelector('.num[data-key=power]')?.dataset.value !== v", arg=before)
    page.locator("summary:has-text('Kilometre by kilometre')").click()
    assert page.locator("details:has-text('Kilometre by kilometre') tbody tr").count() == 5
    page.locator("input[name=distance]").fill("nonsense")
    page.wait_for_selector("label:has(input[name=distance]) >> text=is not a distance")
    assert page.locator(".num[data-key=power]").count() == 1  # the last plan stays
    page.locator("input[name=distance]").fill("10km")
    page.locator("input[name=time]").fill("1:10:00")
    page.wait_for_selector("text=for 1:10:00: a chance of")
    assert page.locator("text=is not a distance").count() == 0
    assert page.locator("input[name=time]").input_value() == "1:10:00"  # a redrawn page keeps what was typed
    page.locator("input[name=time]").fill("")
    page.wait_for_selector("text=four days in five you make it")


def test_the_race_page_takes_its_fields_from_the_address(page, served):
    page.goto("/race?distance=10km")
    page.wait_for_selector(".num[data-key=power]")
    wanted = twin(served, "/race.json?distance=10km")["power"]["value"]
    assert float(page.locator(".num[data-key=power]").get_attribute("data-value")) == pytest.approx(wanted)
    page.wait_for_function("document.querySelector('input[name=distance]')?.value === '10km'")
    page.wait_for_selector("h2:has-text('W all the way')")  # a flat race: once, not three times


def test_a_dropped_course_is_drawn_follows_the_pointer_and_is_taken_off(page, tmp_path):
    from footwork.demo import season, write

    lat, lon, ele = season.half_marathon_course(np.random.default_rng(1))
    (tmp_path / "bay.gpx").write_text(write.course_text("Bay", lat, lon, ele))
    page.goto("/race")
    page.wait_for_selector(".num[data-key=power]")
    assert page.locator("svg.track").count() == 0
    page.locator("input[type=file]").set_input_files(tmp_path / "bay.gpx")
    page.wait_for_selector("svg.track")
    assert re.search(r"\d+ m up", page.locator(".num[data-key=pace]").inner_text())
    page.locator("svg.course .ground").wait_for(state="attached")
    page.wait_for_selector("button:has-text('Course for the watch')")
    page.locator("summary:has-text('Along the course')").click()
    page.wait_for_timeout(600)
    page.locator(".chart").first.scroll_into_view_if_needed()
    box = page.locator(".chart").first.bounding_box()
    page.mouse.move(box["x"] + 200, box["y"] + 90)
    page.wait_for_function("document.querySelector('svg.track .here')?.style.display === 'inline'")
    before = page.locator("svg.track .here").get_attribute("cx")
    page.mouse.move(box["x"] + 420, box["y"] + 90)
    page.wait_for_function("v => document.querySelector('svg.track .here')?.getAttribute('cx') !== v", arg=before)
    page.get_by_role("button", name="Plan without this course").click()
    page.wait_for_function("document.querySelector('svg.track') === null")


def test_a_slider_moves_the_risk(page):
    page.goto("/race?distance=10km")
    page.wait_for_selector("text=four days in five you make it")
    before = page.locator(".num[data-key=power]").get_attribute("data-value")
    slider = page.locator("input[name=risk]")
    assert slider.input_value() == "20"
    slider.focus()
    for _ in range(2):
        page.keyboard.press("ArrowLeft")
    page.wait_for_selector("text=nine days in ten you make it")
    assert float(page.locator(".num[data-key=power]").get_attribute("data-value")) < float(before)


def test_sliders_move_the_plan(page):
    page.goto("/race?distance=10km")
    page.locator("summary:has-text('Change one thing')").click()
    slider = page.locator("input[name=change-critical_power]")
    slider.wait_for()
    assert float(slider.input_value()) == 0
    slider.focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    page.wait_for_selector("text=+2")
    page.wait_for_selector("text=The quickest plan then takes")


def test_a_run_against_its_plan(page, served):
    newest = max(r["id"] for r in twin(served, "/runs.json"))
    page.goto(f"/runs/{newest}/review")
    page.wait_for_selector(f"text=Run {newest} against its plan")
    page.wait_for_selector("text=eight of ten race days were expected")
    assert page.locator("table").last.locator("tbody tr").count() >= 1
    found = twin(served, f"/runs/{newest}/review.json")
    assert found["run"] == newest and found["rows"]


def test_a_session_is_previewed_as_it_is_typed_and_kept(page, served):
    page.goto("/sessions")
    page.wait_for_selector("text=CP-minutes")
    page.wait_for_function("document.querySelector('input[name=session]')?.value.includes('105 % CP')")
    box = page.locator("input[name=session]")
    box.fill("4 min at 900 % CP")
    page.wait_for_selector("text=cannot be run: give 20 to 300 % of CP")
    box.fill("10 min easy, 3 x (2 min at 110 % CP, 1 min easy jog)")
    page.wait_for_selector("text=19:00,")
    page.locator("summary", has_text="Keep it for a day").click()
    page.locator("input[name=keep-date]").fill("2026-05-05")
    page.get_by_role("button", name="Keep this session").click()
    page.wait_for_selector("text=Week of 4 May 2026")
    page.wait_for_selector(".day:nth-child(2) .kept:has-text('3 x (2 min')")
    assert any(
        r["text"] == "10 min easy, 3 x (2 min at 110 % CP, 1 min easy jog)"
        for r in twin(served, "/sessions.json")["kept"]
    )


def test_the_efforts_of_a_run_are_on_its_page(page, served):
    page.goto("/runs/3")
    page.wait_for_selector("text=4 x 3:00")
    found = twin(served, "/runs/3/efforts.json")
    assert sum(e["kind"] == "work" for e in found["efforts"]) == 4 and found["balance"]["minimum"]["value"] > 0
    page.wait_for_selector(".num[data-key='balance.minimum']")
    page.goto("/runs/3/session?session=4 x (3 min at 106 %25 CP, 100 s easy jog)")
    page.wait_for_selector("text=pieces of work were run")


def test_hovering_a_chart_keeps_its_traces(page):
    page.goto("/runs/3")
    page.wait_for_selector(".chart svg")
    count = "() => document.querySelectorAll('.chart svg path[stroke=\"var(--ink)\"]').length"
    page.wait_for_timeout(400)
    before = page.evaluate(count)
    box = page.locator(".chart").first.bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 100)
    page.wait_for_timeout(500)
    assert before and page.evaluate(count) == before


def test_a_run_can_be_marked_by_hand(page, served):
    page.goto("/runs/2")
    page.get_by_role("button", name="a long run").click()
    page.wait_for_selector("button[aria-pressed=true]:has-text('a long run')")
    assert "long" in twin(served, "/runs/2.json")["marks"]
    page.get_by_role("button", name="a long run").click()
    page.wait_for_selector("button[aria-pressed=false]:has-text('a long run')")


def test_zooming_brings_more_points(page, served):
    longest = max(twin(served, "/runs.json"), key=lambda r: r["duration_s"])
    assert longest["duration_s"] > 4000  # more seconds than points are sent at first
    page.goto(f"/runs/{longest['id']}")
    page.wait_for_selector(".chart svg")
    chart = "getElement(document.querySelector('.chart').id.slice(1)).chart.getOption()"
    points = (
        "([low, high]) => "
        + chart
        + ".series.find(s => s.id && s.id.startsWith('read:0')).data.filter(p => p[0] >= low && p[0] <= high).length"
    )
    window = f"() => [{chart}.dataZoom[0].startValue, {chart}.dataZoom[0].endValue]"
    page.wait_for_timeout(300)
    before = {tuple(w): page.evaluate(points, list(w)) for w in [page.evaluate(window)]}
    assert max(before.values()) <= 2100
    box = page.locator(".chart").first.bounding_box()
    page.keyboard.down("Control")
    page.mouse.move(box["x"] + 300, box["y"] + 100)
    for _ in range(6):
        page.mouse.wheel(0, -240)
        page.wait_for_timeout(100)
    page.keyboard.up("Control")
    page.wait_for_timeout(1500)
    low, high = page.evaluate(window)
    assert high - low < 0.9 * longest["duration_s"]
    share = (high - low) / longest["duration_s"]
    assert page.evaluate(points, [low, high]) > 1.2 * share * max(before.values())
    assert page.problems == []


def test_uploading_by_the_page_imports(page, served, tmp_path):
    import datetime as dt

    path = tmp_path / "fresh <b>run.fit"
    steps = [(500, 0.7), (450, 0.75), (450, 0.8), (450, 0.85)]
    path.write_bytes(fit_of(simulate(dt.date(2026, 2, 3), steps, seed=78)))
    junk = tmp_path / "junk.fit"
    junk.write_bytes(b"\x0e\x20\x00\x00\x10\x00\x00\x00.FIT" + b"\xff" * 40)
    before = len(twin(served, "/runs.json"))
    page.goto("/")
    page.wait_for_selector("input[type=file]", state="attached")
    page.locator("input[type=file]").set_input_files([path, junk])
    page.get_by_text("Runs added: 1").wait_for(timeout=30_000)
    assert page.get_by_text("junk.fit, failed").count() == 1
    runs = twin(served, "/runs.json")
    assert len(runs) == before + 1
    # How it is divided is not plain, and the page says so.
    page.goto(f"/runs/{max(r['id'] for r in runs)}")
    page.wait_for_selector("text=Not sure: it may also be harder in three steps of 7:30")
    assert page.locator("td:has-text('Work, not sure')").count() == 1
    page.locator("summary:has-text('Divide it otherwise')").click()
    page.wait_for_selector("text=As it may also be: 0:00 warm-up, ")


def test_settings_refuse_what_cannot_be(page, served):
    page.goto("/settings")
    page.locator("input[name=mass]").fill("7")
    page.get_by_role("button", name="Save").click()
    page.get_by_text("cannot be").wait_for()
    assert [v["value"] for v in twin(served, "/settings.json")["facts"]["mass"]] == [68.0]


def test_every_number_links_to_a_method_that_exists(page):
    for path in ("/", "/runs/3", "/capacity", "/race"):
        page.goto(path)
        page.wait_for_selector("h1")
        links = page.eval_on_selector_all(
            "a[href*='/methods#']", "all => all.map(a => a.getAttribute('href').split('#')[1])"
        )
        assert links
        page.goto("/methods")
        page.wait_for_selector("h2")
        for key in set(links):
            assert page.locator(f"h2#{key}").count() == 1, key


def test_the_pages_can_be_walked_by_keyboard(page):
    page.goto("/")
    page.wait_for_selector("nav a")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Runs"
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/runs$"))


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/runs/999.json", 404),
        ("/runs/x.json", 404),
        ("/race.json?distance=x", 400),
        ("/race.json?distance=half&heights=/etc/hostname", 404),
        ("/race.json?distance=half&heights=%C2%B2", 404),
        ("/race.json?run=%C2%B2", 404),
        ("/race.json?distance=half&laps=%C2%B2", 400),
        ("/capacity.json?scale=moon", 400),
        ("/capacity.json?foo=1", 400),
    ],
)
def test_twins_answer_bad_questions_with_a_sentence(served, path, status):
    found = httpx.get(served[0] + path)
    assert found.status_code == status and found.json()["error"]


@pytest.mark.parametrize("run", ["999", "999/edit", "999/compare", "999/session", "x"])
def test_an_unknown_run_is_a_page_that_says_so(served, run):
    found = httpx.get(f"{served[0]}/runs/{run}")
    said = "There is no such run" if run == "x" else "There is no run 999"
    assert found.status_code == 404 and f"<h1>{said}</h1>" in found.text


def test_an_address_that_leads_nowhere_has_a_page_of_ours(page):
    answer = page.context.new_page().goto("/nowhere")
    assert answer.status == 404 and "There is no such page" in answer.text() and "Footwork" in answer.text()
    assert 'lang="en"' in answer.text() and 'href="/"' in answer.text()


def test_several_libraries_have_addresses_of_their_own(season_library, tmp_path):
    import shutil
    import subprocess
    import sys

    for name in ("ann", "ben"):
        shutil.copytree(season_library.folder, tmp_path / name)
    child = subprocess.Popen(
        [sys.executable, "-m", "footwork", "serve", str(tmp_path / "ann"), str(tmp_path / "ben"), "--port", "0"],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        address = re.search(r"http://[\d.:]+", child.stdout.readline()).group()
        # Titles are found a few at a time, while pages are served.
        ann, ben = (
            [{**run, "title": ""} for run in httpx.get(f"{address}/{name}/runs.json").json()] for name in ("ann", "ben")
        )
        assert len(ann) == 23 and ann == ben
        assert httpx.get(address + "/").status_code == httpx.get(address + "/ben/capacity").status_code == 200
    finally:
        child.terminate()
        child.wait(10)


def test_a_run_is_described_corrected_and_put_right_again_by_hand(page, served):
    before = twin(served, "/runs/4.json")
    page.goto("/runs/4/edit")
    page.locator("input[name=diary-exertion]").fill("7")
    page.locator("input[name=diary-note]").fill("--windy <b>today</b>")
    page.get_by_role("button", name="Write").click()
    page.get_by_text("diary: note --windy <b>today</b>").wait_for()
    page.locator("select[name=surface]").select_option("trail")
    page.locator("input[name=shoe]").fill("blue pair")
    page.get_by_role("button", name="Keep them").click()
    page.get_by_text("shoe blue pair").wait_for()
    page.locator("input[name=temperature]").fill("-3")
    page.locator("input[name=wind]").fill("5@240")
    page.get_by_role("button", name="Keep the weather").click()
    page.get_by_text("weather -3 °C").wait_for()
    page.locator("input[name=trim-to]").fill("10:00")
    page.get_by_role("button", name="Trim").click()
    page.get_by_text("trimmed to 0:00 to 10:00").wait_for()
    told = twin(served, "/runs/4.json")
    assert told["duration_s"] == 600 and told["surface"] == "trail" and told["diary"]["exertion"] == 7
    page.goto("/runs/4")
    page.get_by_text("Note: --windy <b>today</b>").wait_for()
    page.goto("/runs/4/edit")
    page.locator("input[name=trim-from]").fill("9:00:00")
    page.get_by_role("button", name="Trim").click()
    page.get_by_text("is no span of run 4").wait_for()
    for _ in range(len(twin(served, "/runs/4/edit.json"))):
        left = len(twin(served, "/runs/4/edit.json"))
        page.get_by_role("button", name="Undo").first.click()
        page.wait_for_function("n => document.querySelectorAll('table button').length === n - 1", arg=left)
    assert twin(served, "/runs/4.json") == before
    assert page.problems == []


def test_a_run_is_deleted_by_hand_and_comes_back(page, served):
    page.goto("/runs/5/edit")
    page.get_by_role("button", name="Delete for ever…").click()
    page.get_by_text("it cannot be undone").wait_for()
    page.get_by_role("button", name="Delete this run").click()
    page.wait_for_url(re.compile("/runs$"))
    assert httpx.get(served[0] + "/runs/5.json").status_code == 404
    page.goto("/library")
    page.locator("tr", has_text="deleted").get_by_role("button", name="Undo").click()
    assert until(page, lambda: httpx.get(served[0] + "/runs/5.json").status_code == 200)


def test_backup_restore_check_and_places_by_hand(page, served, tmp_path):
    page.goto("/library")
    page.locator("input[name=backup-file]").fill(str(tmp_path / "b.zip"))
    page.get_by_role("button", name="Back up").click()
    page.get_by_text("Written and verified").wait_for(timeout=20_000)
    page.locator("input[name=restore-file]").fill(str(tmp_path / "b.zip"))
    page.locator("input[name=restore-into]").fill(str(tmp_path / "again"))
    page.get_by_role("button", name="Restore").click()
    page.get_by_text(re.compile(r"Restored \d+ runs")).wait_for(timeout=60_000)
    page.get_by_role("button", name="Check", exact=True).click()
    page.get_by_text("All is sound").wait_for(timeout=20_000)
    page.locator("input[name=place-add]").fill("-33.9,18.4")
    page.locator("input[name=place-name]").fill("home")
    page.get_by_role("button", name="Keep it private").click()
    page.get_by_text("home: 300 m around -33.9000, 18.4000").wait_for()
    page.get_by_role("button", name="Forget home").click()
    page.get_by_text("None: exports hold all positions.").wait_for()


def test_a_race_is_entered_by_hand(page, served):
    page.goto("/runs")
    page.locator("input[name=start]").fill("2025-10-05")
    page.locator("input[name=time]").fill("44:30")
    page.locator("input[name=distance]").fill("10km")
    page.locator("select[name=as]").select_option("race")
    page.get_by_role("button", name="Enter").click()
    (row,) = until(page, lambda: [r for r in twin(served, "/runs.json") if r["entered_by_hand"]])
    assert row["marks"] == ["race"] and row["distance_m"] == 10_000
    page.goto(f"/runs/{row['id']}")
    page.get_by_text("Entered by hand: there is no recording.").wait_for()
    page.goto(f"/runs/{row['id']}/edit")
    while page.locator("table button").count():
        left = page.locator("table button").count()
        page.get_by_role("button", name="Undo").first.click()
        fewer = "left => document.querySelectorAll('table button').length < left"
        page.wait_for_function(f"left => document.body.innerText.includes('No such run') || ({fewer})(left)", arg=left)
        if page.get_by_text("No such run").count():
            break


def test_a_comparison_page_without_a_second_device_says_so(page):
    page.goto("/runs/3/compare")
    page.get_by_text("was recorded by one device").wait_for()


def test_progress_opens_with_one_sentence_and_compares(page, served):
    page.goto("/progress")
    page.wait_for_selector("text=at reference conditions")
    told = twin(served, "/progress.json")
    assert page.locator("p.lede").inner_text() == told["sentence"]
    page.locator("summary", has_text="against each other").click()
    page.locator("input[name=pair-first]").fill("2026-03-02..2026-03-21")
    page.locator("input[name=pair-second]").fill("2026-03-30..2026-04-19")
    page.get_by_role("button", name="Compare").click()
    page.wait_for_selector("text=worthwhile from")
    found = twin(served, "/compare-runs.json?first=2026-03-02..2026-03-21&second=2026-03-30..2026-04-19")
    assert page.locator("p.lede").inner_text() == found["sentence"]


def test_a_trial_goes_from_design_to_a_run_that_was_run_for_it(page, served):
    page.goto("/trials")
    page.locator("input[name=trial-change]").fill("blue pair")
    page.locator("input[name=trial-runs]").fill("2")
    page.get_by_role("button", name="Keep this design").click()
    page.wait_for_selector("text=blue pair against as usual")
    number = twin(served, "/trials.json")["trials"][0]["id"]
    page.goto(f"/trials/{number}")
    page.wait_for_selector("text=order of the blocks")
    page.locator("summary", has_text="A run was run for it").click()
    page.locator("input[name=join-run]").fill("9999")
    page.get_by_role("button", name="Join it").click()
    page.wait_for_selector("text=no run 9999")
    assert twin(served, f"/trials/{number}.json")["result"] is None
