"""The course as a picture: what is thick, what points where, and what a degenerate course does."""

import re

import numpy as np
import pytest

from footwork.charts import course_picture

ENDS = np.arange(0, 10_001, 50.0)
HILL = 100 + 60 * np.exp(-(((ENDS - 5000) / 1200) ** 2))
EFFORT = np.where((ENDS[1:] > 3500) & (ENDS[1:] < 5000), 270.0, 250.0)


def widths(svg):
    return [float(w) for w in re.findall(r'class="way" stroke-width="([\d.]+)"', svg)]


def test_the_line_is_as_thick_as_the_effort_and_one_thickness_where_it_is_even():
    drawn = course_picture.profile(ENDS, HILL, EFFORT, np.zeros(200), [0.0, 3500.0, 5000.0])
    assert set(widths(drawn)) == {course_picture.THIN, course_picture.THICK}
    assert widths(drawn).count(course_picture.THICK) == 29
    even = course_picture.profile(ENDS, HILL, np.full(200, 250.0), np.zeros(200), [0.0])
    assert len(set(widths(even))) == 1 and 'class="wind"' not in even


def test_each_instruction_has_its_number_over_the_middle_of_its_stretch():
    drawn = course_picture.profile(ENDS, HILL, EFFORT, np.zeros(200), [0.0, 3500.0, 5000.0])
    at = [float(x) for x in re.findall(r'class="ring" cx="([\d.]+)"', drawn)]
    assert at == pytest.approx([course_picture.WIDTH * m / 10_000 for m in (1750, 4250, 7500)], abs=0.1)
    assert re.findall(r'text-anchor="middle">(\d)</text>', drawn)[-3:] == ["1", "2", "3"]


def test_arrows_point_against_the_runner_where_the_wind_does():
    wind = np.where(ENDS[1:] <= 5000, 4.0, -4.0)
    drawn = course_picture.profile(ENDS, HILL, EFFORT, wind, [0.0])
    arrows = [(float(a), float(b)) for a, b in re.findall(r'class="wind" d="M([\d.]+) 32H([\d.]+)m', drawn)]
    assert len(arrows) == 12 and all((b < a) == (a < course_picture.WIDTH / 2) for a, b in arrows)


def test_ticks_are_kilometres_or_miles():
    for imperial, unit, last in ((False, "km", "10"), (True, "mi", "6")):
        drawn = course_picture.profile(ENDS, HILL, EFFORT, np.zeros(200), [0.0], imperial)
        told = re.findall(r'y="\d+" text-anchor="(?:start|middle|end)">(\d+(?: \w+)?)</text>', drawn)
        assert told[0] == f"0 {unit}" and last in told


def test_the_track_is_to_scale_and_says_where_a_place_lies():
    angle = np.linspace(0, 2 * np.pi, 201)
    drawn = course_picture.track(
        45 + 0.009 * np.sin(angle), 7 + 0.009 / np.cos(np.radians(45)) * np.cos(angle), ENDS, EFFORT
    )
    corners = np.array(
        re.search(r'data-way="\[(.*?)\]"', drawn).group(1).replace("[", "").replace("]", "").split(","), float
    )
    x, y = corners.reshape(-1, 3)[:, 1:].T
    assert np.ptp(x) == pytest.approx(np.ptp(y), rel=0.01)  # a circle stays one
    # The finish lies where the start does: its number gives way.
    assert ">start<" in drawn and ">8<" in drawn and ">10<" not in drawn


def test_race_days_that_are_all_alike_are_drawn():
    drawn = course_picture.race_days([2700.0] * 100, 2700.0, "plan 45:00", lambda s: f"{s:.0f}")
    assert drawn.count('class="bar"') == 1 and ">2690<" in drawn and ">2710<" in drawn
    spread = course_picture.race_days(np.linspace(2650, 2800, 100).tolist(), 2700.0, "plan", lambda s: f"{s:.0f}")
    bars = [float(h) for h in re.findall(r'class="bar".*?height="([\d.]+)"', spread)]
    assert len(bars) == 17 and max(bars) == 90.0
