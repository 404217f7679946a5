"""Which file of a folder is meant."""

import pytest

from gaugelog.errors import FaultyInstrumentError, NoInstrumentError, NoRecordingError, UnreadableFileError
from gaugelog.instruments.find import find_instrument, find_recording, read_instrument_file, recording_beside
from gaugelog.instruments.new import new_instrument


def put(folder, name, text=None):
    path = folder / name
    path.write_text(new_instrument("x") if text is None else text, encoding="utf-8")
    return path


def test_the_only_instrument_file_is_found_among_other_toml(tmp_path):
    put(tmp_path, "gauge.toml", 'name = "my-gauge"\nkind = "angle"\n[framing]\nname = "line"\n')
    path = put(tmp_path, "baritone.toml")
    assert find_instrument(tmp_path) == path
    assert recording_beside(path) == tmp_path / "baritone.gaugelog"
    assert find_recording(tmp_path) == tmp_path / "baritone.gaugelog"


def test_a_faulty_instrument_file_is_found_all_the_same(tmp_path):
    path = put(tmp_path, "baritone.toml", 'name == "x"\n[[checkpoint]]\n')
    assert find_instrument(tmp_path) == path
    with pytest.raises(FaultyInstrumentError):
        read_instrument_file(path)


def test_none_or_several_are_an_error_that_names_them(tmp_path):
    with pytest.raises(NoInstrumentError) as none:
        find_instrument(tmp_path)
    assert none.value.found == ()
    named = put(tmp_path, "b.toml")
    put(tmp_path, "a.toml")
    with pytest.raises(NoInstrumentError) as several:
        find_instrument(tmp_path)
    assert several.value.found == ("a.toml", "b.toml")
    with pytest.raises(NoInstrumentError):
        find_recording(tmp_path)
    assert find_instrument(tmp_path, named) == named
    assert find_recording(tmp_path, named) == tmp_path / "b.gaugelog"


def test_a_folder_may_hold_only_a_recording(tmp_path):
    with pytest.raises(NoRecordingError):
        find_recording(tmp_path)
    path = put(tmp_path, "old.gaugelog", "")
    assert find_recording(tmp_path) == path
    put(tmp_path, "older.gaugelog", "")
    with pytest.raises(NoRecordingError) as several:
        find_recording(tmp_path)
    assert several.value.found == ("old.gaugelog", "older.gaugelog")


def test_a_byte_order_mark_and_other_line_ends_are_fine(tmp_path):
    path = tmp_path / "x.toml"
    path.write_bytes(b"\xef\xbb\xbf" + new_instrument("x").replace("\n", "\r\n").encode())
    assert find_instrument(tmp_path) == path
    assert read_instrument_file(path).name == "x"


def test_what_can_not_be_read_says_why(tmp_path):
    path = tmp_path / "x.toml"
    with pytest.raises(UnreadableFileError):
        read_instrument_file(path)
    path.write_bytes(b'name = "\xff"')
    with pytest.raises(UnreadableFileError, match=r"UTF-8 text \(byte 8\)"):
        read_instrument_file(path)
    with pytest.raises(UnreadableFileError):
        read_instrument_file(tmp_path)
