"""FIT as devices write it: chains, missing header checksums, damage, developer fields, several legs, pauses, no
date."""

import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from footwork import formats
from footwork.errors import FootworkError, NotARecording, UnreadableFile
from footwork.formats import fit, fit_structure
from footwork.signals import FORM
from tests import fitfile as f


def read(body: bytes, **how):
    return formats.read(f.wrap(body, **how), "x.fit")


def test_plain_run():
    (run,) = read(f.run())
    assert run.is_run and run.dated and not run.lost
    assert run.columns["cadence"][0] == 170  # strides of one foot become steps
    assert run.start == f.START
    assert run.streams[0].column == "power"


def test_zero_header_checksum_is_valid_and_reads_fast(monkeypatch):
    monkeypatch.setattr(fit, "_decode_slowly", lambda part: pytest.fail("the slow reader was used"))
    (run,) = read(f.run(), header_crc=False)
    assert not run.lost and len(run.columns["time"]) == 120


@pytest.mark.parametrize("header_crc", [True, False])
def test_other_messages_are_the_same_without_the_records(header_crc):
    import fitfast

    body = f.file_id() + f.developer_id() + f.field_description(2, "Running watts", "W", native=7)
    for i in range(90):
        body += f.record(f.START + i, power=300, developer=[(2, 0, "H", 250)])
        body += f.timer(f.START + i, i % 2) if i % 30 == 0 else b""
    ((part,), _) = fit_structure.split(f.wrap(body + f.session(f.START, 90), header_crc))
    whole = fitfast.parse(part, datetimes=False)
    fewer = fitfast.parse(fit_structure.beside_records(part), datetimes=False)
    assert len(whole.pop("record")) == 90 and "record" not in fewer
    assert fewer == whole and len(fewer["event"]) == 3


def test_records_stay_where_another_message_counts_its_time_from_them():
    event = f.timer(f.START + 5, 0)
    size = len(event) - 6 - 3 * event[5]  # its header and what follows it
    short = bytes([0x80 | 7]) + event[-size + 1 :]  # local number 0, seven seconds on
    assert fit_structure.beside_records(f.wrap(f.run(20) + event)) is not None
    assert fit_structure.beside_records(f.wrap(f.run(20) + event + short)) is None
    assert fit_structure.beside_records(f.wrap(f.run(20) + b"\x0f")) is None  # no definition of it


def test_chained_files_are_split():
    runs = formats.read(f.wrap(f.run()) + f.wrap(f.run(60, f.START + 5000)), "x.fit")
    assert [len(r.columns["time"]) for r in runs] == [120, 60]
    assert [r.leg for r in runs] == [0, 1]


def test_cut_file_is_recovered_and_says_so():
    whole = f.wrap(f.run())
    (run,) = formats.read(whole[: len(whole) * 2 // 3], "x.fit")
    assert 40 < len(run.columns["time"]) < 120
    assert any("cut" in text for text in run.lost)
    assert any("session summary" in text for text in run.lost)
    assert any("taken as a run" in text for text in run.notes)


def test_unclosed_file_with_length_zero_is_recovered():
    whole = bytearray(f.wrap(f.run()))
    struct.pack_into("<I", whole, 4, 0)
    (run,) = formats.read(bytes(whole[:-2]), "x.fit")
    assert len(run.columns["time"]) == 120
    assert any("never closed" in text for text in run.lost)


def test_wrong_checksum_with_everything_readable_is_not_called_recovered():
    whole = bytearray(f.wrap(f.run()))
    whole[-1] ^= 0xFF
    (run,) = formats.read(bytes(whole), "x.fit")
    assert len(run.columns["time"]) == 120 and not run.lost
    assert any("checksum" in text for text in run.notes)


def test_sport_message_names_the_sport_of_a_lost_session():
    body = f.file_id() + f.message(12, [(0, "e", 2)]) + b"".join(f.record(f.START + i) for i in range(30))
    (ride,) = read(body)
    assert ride.sport == "cycling"


def triathlon() -> bytes:
    body = f.file_id()
    for i in range(300):
        body += f.record(f.START + i, power=180 if i < 200 else 240, distance=5.0 * i)
    return body + f.session(f.START, 100, 5) + f.session(f.START + 100, 100, 2) + f.session(f.START + 200, 100, 1)


def test_every_leg_is_its_own_and_the_run_knows_what_came_before():
    swim, ride, run = read(triathlon())
    assert [r.sport for r in (swim, ride, run)] == ["swimming", "cycling", "running"]
    assert run.legs_before == ["swimming", "cycling"]
    assert (run.columns["power"] == 240).all() and len(run.columns["time"]) == 100


def test_partial_power_is_never_power_and_full_power_is():
    body = (
        f.file_id()
        + f.developer_id()
        + f.field_description(1, "Power upwards", "Watts")
        + f.field_description(2, "Power", "Watts")
    )
    body += b"".join(
        f.record(f.START + i, power=None, developer=[(1, 0, "H", 60), (2, 0, "H", 250)]) for i in range(60)
    )
    (run,) = read(body + f.session(f.START, 60))
    assert len(run.streams) == 1
    assert (run.columns["power"] == 250).all()


def test_native_and_developer_power_are_two_streams_of_two_scales():
    body = f.file_id() + f.developer_id() + f.field_description(2, "Running watts", "W", native=7)
    body += b"".join(f.record(f.START + i, power=300, developer=[(2, 0, "H", 250)]) for i in range(60))
    (run,) = read(body + f.session(f.START, 60))
    assert [s.column for s in run.streams] == ["power", "power_2"]
    assert run.streams[0].scale != run.streams[1].scale
    assert (run.columns["power"] == 300).all() and (run.columns["power_2"] == 250).all()


def test_a_developer_field_named_like_a_native_one_does_not_overwrite_it():
    body = f.file_id() + f.developer_id() + f.field_description(2, "power", "W")
    body += b"".join(f.record(f.START + i, power=300, developer=[(2, 0, "H", 250)]) for i in range(60))
    (run,) = read(body + f.session(f.START, 60))
    assert (run.columns["power"] == 300).all() and (run.columns["power_2"] == 250).all()


@pytest.mark.parametrize("stop", [1, 4, 8, 9])
def test_every_form_of_stop_pauses(stop):
    body = f.file_id() + f.timer(f.START, 0) + b"".join(f.record(f.START + i) for i in range(30))
    body += f.timer(f.START + 30, stop) + f.timer(f.START + 90, 0)
    body += (
        b"".join(f.record(f.START + i) for i in range(90, 130)) + f.timer(f.START + 130, 4) + f.session(f.START, 130)
    )
    (run,) = read(body)
    assert run.pauses == [(f.START + 30, f.START + 90)]


def test_times_from_the_devices_start_are_undated():
    body = f.file_id(start=f.EPOCH + 1000) + b"".join(f.record(1000 + i, raw_time=True) for i in range(60))
    (run,) = read(body)
    assert not run.dated


def test_records_from_before_the_clock_was_set_are_left_out_and_said():
    body = f.file_id() + b"".join(f.record(1000 + i, raw_time=True) for i in range(5))
    body += b"".join(f.record(f.START + i) for i in range(60)) + f.session(f.START, 60)
    (run,) = read(body)
    assert run.start == f.START and len(run.columns["time"]) == 60
    assert any("5 records" in text for text in run.lost)


def test_power_that_is_part_of_another_word_is_not_partial():
    body = f.file_id() + f.developer_id() + f.field_description(2, "Power when racing", "W", native=7)
    body += b"".join(f.record(f.START + i, power=None, developer=[(2, 0, "H", 250)]) for i in range(60))
    (run,) = read(body + f.session(f.START, 60))
    assert (run.columns["power"] == 250).all()


def test_both_decoders_give_one_scale_to_one_device():
    def body(extra: bytes) -> bytes:
        made = (
            f.file_id()
            + f.message(207, [(1, "x16", "application-one"), (3, "B", 0)])
            + f.field_description(2, "Running watts", "W", native=7)
            + extra
        )
        return (
            made
            + b"".join(f.record(f.START + i, developer=[(2, 0, "H", 250)]) for i in range(60))
            + f.session(f.START, 60)
        )

    (fast,) = read(body(b""))
    (slow,) = read(
        body(f.field_description(9, "speed", "x"))
    )  # a name like a native field's: the slow decoder reads it
    assert [s.scale for s in fast.streams] == [s.scale for s in slow.streams]


def test_a_course_file_is_no_recording():
    with pytest.raises(NotARecording, match="course"):
        read(f.message(0, [(0, "e", 6), (1, "H", 255)]))


@pytest.mark.parametrize(
    "data", [b"\x0e\x20\x8b\x08\x00\x00\x00\x00.FIT", b"\x0e\x20\x8b\x08\x10\x00\x00\x00.FIT\x00\x00" + b"\xff" * 18]
)
def test_hopeless_files_say_so(data):
    with pytest.raises((UnreadableFile, NotARecording)):
        formats.read(data, "x.fit")


def test_a_panic_of_the_fast_decoder_is_caught_and_stays_silent(capfd):
    import fitfast

    body = f.file_id() + f.developer_id() + f.field_description(1, "Power upwards", "Watts")
    body += b"".join(f.record(f.START + i, developer=[(1, 0, "H", 60)]) for i in range(30)) + f.session(f.START, 30)
    # A developer field described without its base type: the decoder divides by a size it does not know.
    data = f.wrap(body.replace(b"\x02\x01\x02\x03\x20\x07", b"\x03\x01\x02\x03\x20\x07", 1))
    try:
        fitfast.parse(data)
        panicked = False
    except Exception:
        panicked = False
    except BaseException:
        panicked = True
    capfd.readouterr()
    try:
        formats.read(data, "x.fit")
    except FootworkError as error:
        assert str(error)
    assert capfd.readouterr().err == ""
    assert panicked


WHOLE = f.run(40)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(WHOLE) - 1), st.integers(0, 255)), min_size=1, max_size=12), st.booleans())
def test_mutated_files_with_repaired_checksums_never_break_the_reader(changes, cut):
    body = bytearray(WHOLE)
    for at, value in changes:
        body[at] = value
    data = f.wrap(bytes(body))
    if cut:
        data = data[: 14 + changes[0][0]]
    try:
        for run in formats.read(data, "x.fit"):
            assert np.isfinite(run.columns["time"]).any()
    except FootworkError as error:
        assert str(error)


@pytest.mark.parametrize("name", FORM)
@pytest.mark.parametrize("spelled", [str.title, str.upper, lambda words: words.replace(" ", "_")])
def test_every_measure_of_form_is_read_from_a_developer_field(name, spelled):
    """By its name, however it is spelled, and in the unit that the field declares."""
    measure = FORM[name]
    shown = {"ms": 250, "mm": 80, "m": 1}[measure.shown]
    words = spelled(name.replace("_", " "))
    body = f.file_id() + f.developer_id() + f.field_description(3, words, measure.shown)
    body += b"".join(f.record(f.START + i, developer=[(3, 0, "H", shown)]) for i in range(60))
    (run,) = read(body + f.session(f.START, 60))
    assert run.columns[name] == pytest.approx(shown / measure.shown_factor)


def test_a_measure_in_a_unit_we_do_not_know_is_passed_over():
    body = f.file_id() + f.developer_id() + f.field_description(3, "Stance Time", "furlong")
    body += b"".join(f.record(f.START + i, developer=[(3, 0, "H", 250)]) for i in range(60))
    (run,) = read(body + f.session(f.START, 60))
    assert "stance_time" not in run.columns
