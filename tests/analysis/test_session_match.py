"""What a run made of a session, branch by branch. The thresholds are conventions of ours, pinned from both sides."""

import pytest

from footwork.analysis.session_match import Advice, judge
from footwork.wording.session_verdicts import NEXT, match_sentences

STEP = {
    "held": 300.0,
    "low": 294.0,
    "high": 306.0,
    "ends": (294.0, 306.0),
    "of": "power",
    "banded": True,
    "open": False,
    "all_out": False,
    "start_s": 0.0,
    "end_s": 240.0,
    "asked_s": 240.0,
    "asked_m": None,
    "speed_mps": 4.0,
    "in_band": 0.9,
    "start_share": 0.0,
    "w_prime_end_j": 8000.0,
}


def steps(*changes, count=5):
    return [{**STEP, **change} for change in (changes or [{}] * count)]


def heart(value):
    return {"of": "heart_rate", "held": value, "low": 160.0, "high": 160.0, "ends": (160.0, 160.0)}


CASES = {
    "none": ([], 5, Advice.NO_WORK),
    "all out": (steps({"banded": False, "all_out": True}), 1, Advice.ALL_OUT),
    "no band": (steps({"held": None}), 1, Advice.NO_BAND),
    "as asked": (steps(), 5, Advice.SAME_AGAIN),
    "15.1 % above": (steps({"held": 306 * 1.151}, {"held": 306 * 1.151}), 2, Advice.ANOTHER),
    "14.9 % above": (steps({"held": 306 * 1.149}, {"held": 306 * 1.149}), 2, Advice.HOLD_BAND),
    "heart rate 12.1 % above": (steps(heart(160 * 1.121), heart(160 * 1.121)), 2, Advice.ANOTHER),
    "heart rate 11.9 % above": (steps(heart(160 * 1.119), heart(160 * 1.119)), 2, Advice.BEGIN_SLOWER),
    "3.1 % above": (steps({"held": 306 * 1.031}, {"held": 306 * 1.031}), 2, Advice.HOLD_BAND),
    "2.9 % above": (steps({"held": 306 * 1.029}, {"held": 306 * 1.029}), 2, Advice.SAME_AGAIN),
    "3.1 % below": (steps({"held": 294 * 0.969}, {"held": 294 * 0.969}), 2, Advice.LOOK_WHY),
    "three of five": (steps(count=3), 5, Advice.ASK_AS_MANY),
    "three of five, high": (steps(*[{"held": 306 * 1.04}] * 3), 5, Advice.ASK_LESS),
    "one cut at 89 %": (steps(*[{}] * 4, {"end_s": 213.0}), 5, Advice.ASK_LESS),
    "none cut at 91 %": (steps(*[{}] * 4, {"end_s": 219.0}), 5, Advice.SAME_AGAIN),
    "way cut at 94 %": (steps(*[{}] * 4, {"asked_m": 1000.0, "end_s": 235.0}), 5, Advice.ASK_LESS),
    "way whole at 96 %": (steps(*[{}] * 4, {"asked_m": 1000.0, "end_s": 240.0}), 5, Advice.SAME_AGAIN),
    "four of five cut": (steps({}, *[{"end_s": 100.0}] * 4), 5, Advice.ANOTHER),
    "faded 3.4 %": (steps({"held": 305.0}, {}, {"held": 294.9}), 3, Advice.ASK_LESS),
    "faded 2.7 %": (steps({"held": 304.0}, {}, {"held": 296.0}), 3, Advice.SAME_AGAIN),
    "34 % in the band": (steps(*[{"in_band": 0.34}] * 3), 3, Advice.RUN_EVENLY),
    "36 % in the band": (steps(*[{"in_band": 0.36}] * 3), 3, Advice.SAME_AGAIN),
    "one 31 % longer": (steps(*[{}] * 4, {"end_s": 314.0}), 5, Advice.STOP_IN_TIME),
    "61 % of W′ left": (steps(*[{"w_prime_end_j": 12_200.0}] * 5), 5, Advice.ONE_MORE),
    "59 % of W′ left": (steps(*[{"w_prime_end_j": 11_800.0}] * 5), 5, Advice.SAME_AGAIN),
}


@pytest.mark.parametrize("name", CASES)
def test_each_way_of_running_has_its_advice(name):
    done, asked, advice = CASES[name]
    found = judge(done, asked, 0, 20_000.0, {"run_s": 120.0, "asked_s": 120.0})
    assert found.advice is advice
    assert match_sentences(found)[1] == NEXT[advice]


@pytest.mark.parametrize(
    ("run_s", "advice"), [(181, Advice.KEEP_RESTS), (179, Advice.SAME_AGAIN), (79, Advice.KEEP_RESTS)]
)
def test_other_rests_make_another_session(run_s, advice):
    assert judge(steps(), 5, 0, None, {"run_s": float(run_s), "asked_s": 120.0}).advice is advice


def test_every_advice_is_reached_and_has_words():
    reached = {advice for _, _, advice in CASES.values()} | {Advice.KEEP_RESTS}
    assert reached == set(Advice) == set(NEXT)


def test_what_is_said_holds_the_numbers():
    hard = steps(
        *[{"start_share": 0.041, "held": 306 * 1.02}] * 4, {"start_share": 0.041, "end_s": 200.0, "held": 306 * 1.02}
    )
    text, _ = match_sentences(judge(hard, 6, 2, 20_000.0, {"run_s": 200.0, "asked_s": 120.0}))
    assert text == (
        "5 of 6 pieces of work were run, and 2 more. On average they were 2 % above what was asked. 1 was cut short. "
        "They were begun too hard: the first quarter 4 % above the rest. The rests lasted 3:20 where 2:00 were asked."
    )
    assert "too hard" not in match_sentences(judge(steps({"start_share": 0.039}), 1, 0, None, None))[0]
    alone = steps({"start_share": 0.041, "end_s": 999.0})
    assert match_sentences(judge(alone, 1, 0, None, None))[0] == (
        "The one piece of work was run. On average it was as hard as asked. It was begun too hard: the first quarter "
        "4 % above the rest. It was much longer than asked."
    )
    assert "2 pieces of work were run" in match_sentences(judge(alone, 2, 0, None, None))[0]
    faded = judge(steps({"held": 305.0}, {}, {"held": 294.9}), 3, 0, None, None)
    assert "They faded: the last was 3 % under the first." in match_sentences(faded)[0]
