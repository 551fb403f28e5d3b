"""Files in memory and in zip files: what is read, and what is refused in one clear line."""

import io
import stat
import struct
import warnings
import zipfile
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.errors import InputError
from coverage_audit.read.packed import Memory, Zip

FILES = {"job.toml": b"[job]\n", "logs/track.gpx": b"<gpx/>" * 100}


def zipped(files=FILES, method=zipfile.ZIP_DEFLATED):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", method) as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of names that come twice, which are written on purpose
        for name, data in files.items() if isinstance(files, dict) else files:
            archive.writestr(name, data)
    return buffer.getvalue()


def patched(data, offset_in_entry, packed):
    """*data* with some bytes of the first entry of its directory and of the head of that file overwritten.

    The directory has two bytes (version made by) before what both have (APPNOTE 4.3.7, 4.3.12).
    """
    broken = bytearray(data)
    entry, head = data.index(b"PK\1\2"), data.index(b"PK\3\4")
    for at in (entry + 2 + offset_in_entry, head + offset_in_entry):
        broken[at : at + len(packed)] = packed
    return bytes(broken)


def read_all(data):
    source = Zip(data, "job.zip")
    return {name: source.read(name).data for name in source.names}


def refusal(data):
    with pytest.raises(InputError) as caught:
        read_all(data)
    assert "\n" not in str(caught.value)
    assert caught.value.place.startswith("job.zip")
    return caught.value.what


@pytest.mark.parametrize("source", [Memory(FILES), Zip(zipped(), "job.zip")], ids=["memory", "zip"])
def test_files_are_found_by_name_from_any_folder(source):
    assert source.names == ("job.toml", "logs/track.gpx")
    assert source.read("logs/track.gpx").data == FILES["logs/track.gpx"]
    assert source.read(".\\logs\\track.gpx").name == "track.gpx"
    inside = source.folder_of("logs/track.gpx")
    assert inside.size("track.gpx") == 600
    assert inside.read("../job.toml").data == b"[job]\n"
    assert not source.exists("../job.toml", "")
    assert not source.exists("/etc/passwd", "")
    assert source.size("logs") is None
    with pytest.raises(InputError, match="no such file among the 2 given"):
        source.read("logs")


def test_folders_in_a_zip_are_no_files():
    assert Zip(zipped({"logs/": b"", **FILES}), "job.zip").names == tuple(FILES)


def test_a_file_above_its_limit_is_refused_unread(monkeypatch):
    for source in (Memory(FILES), Zip(zipped(), "job.zip")):
        with monkeypatch.context() as patch:
            patch.setattr(zipfile.ZipFile, "open", lambda *_: pytest.fail("the file was unpacked"))
            with pytest.raises(InputError, match=r"track\.gpx: the file has more than the limit"):
                source.read("logs/track.gpx", 599)
        assert len(source.read("logs/track.gpx", 600).data) == 600


@pytest.mark.parametrize("name", ["../a", "b/../../a", "/a", "C:\\a", "c:a", "..\\a", " ", "\\\\server\\share\\a"])
def test_names_that_lead_elsewhere_are_refused(name):
    assert "leads to another place" in refusal(zipped({name: b"x"}))
    with pytest.raises(InputError, match="leads to another place"):
        Memory({name: b"x"})


@pytest.mark.parametrize("name", ["a\nb.gpx", "a\x1b[2J.gpx", "a\u202e.gpx"])
def test_names_that_cannot_be_printed_are_refused_in_one_line(name):
    assert "cannot be read; rename it" in refusal(zipped({name: b"x"}))
    with pytest.raises(InputError, match="rename it"):
        Memory({name: b"x"})


@pytest.mark.parametrize("twice", ["a.gpx", "./a.gpx", "b//a.gpx", "b\\a.gpx"])
def test_two_files_of_one_name_are_refused(twice):
    other = "b/a.gpx" if "b" in twice else "a.gpx"
    assert "two files named" in refusal(zipped([(other, b"x"), (twice, b"y")]))


def test_a_file_under_a_password_is_refused():
    data = zipped({"a.gpx": b"x"})
    assert "locked with a password" in refusal(patched(data, 6, b"\1\0"))


def test_a_link_is_refused():
    link = zipfile.ZipInfo("a.gpx")
    link.create_system, link.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
    assert "is a link" in refusal(zipped([(link, b"/etc/passwd")]))


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_ways_of_packing_that_cannot_be_bounded_are_refused(method):
    assert "packed in a way" in refusal(zipped({"a.gpx": b"x" * 100}, method))


def test_a_bomb_is_refused_by_what_it_declares(monkeypatch):
    data = zipped({"a.gpx": bytes(600), "b.gpx": bytes(401)})
    monkeypatch.setattr("coverage_audit.read.packed.MAX_PACKED_BYTES", 1000)
    assert "what it holds has more than" in refusal(data)
    monkeypatch.setattr("coverage_audit.read.packed.MAX_PACKED_BYTES", 1001)
    assert Zip(data, "job.zip").names == ("a.gpx", "b.gpx")


def test_a_bomb_is_refused_by_what_comes_and_no_more_is_unpacked(monkeypatch):
    data = patched(zipped({"a.gpx": bytes(50_000_000)}), 22, struct.pack("<I", 10))
    most = []
    read = zipfile.ZipExtFile.read
    monkeypatch.setattr(zipfile.ZipExtFile, "read", lambda self, n: most.append(n) or read(self, n))
    assert "another size than the zip file declares" in refusal(data)
    assert most == [11]


def test_a_file_shorter_than_declared_is_refused():
    assert "another size" in refusal(patched(zipped({"a.gpx": bytes(500)}), 22, struct.pack("<I", 501)))


def test_a_damaged_file_is_refused():
    data = zipped({"a.gpx": bytes(range(200))}, zipfile.ZIP_STORED)
    assert "damaged in the zip file" in refusal(data.replace(b"\1\2\3\4", b"\4\3\2\1"))


def test_more_files_than_a_job_has_are_refused_before_they_are_listed(monkeypatch):
    monkeypatch.setattr("coverage_audit.read.packed.MAX_PACKED_FILES", 3)
    assert Zip(zipped({str(number): b"x" for number in range(3)}), "job.zip").names
    data = zipped({str(number): b"x" for number in range(4)})
    monkeypatch.setattr(zipfile, "ZipFile", lambda *_: pytest.fail("the directory was read"))
    assert "more than 3 files" in refusal(data)


@pytest.mark.parametrize(
    "data", [b"", b"PK", b"[job]\n", zipped()[:-5], zipped()[:40]], ids=["empty", "PK", "text", "no end", "cut"]
)
def test_what_is_no_whole_zip_file_is_refused(data):
    assert "no whole zip file" in refusal(data)


WHOLE = zipped()


@given(st.integers(0, len(WHOLE) - 1), st.binary(min_size=1, max_size=4))
def test_damaged_zip_files_are_read_or_refused(at, junk):
    with suppress(InputError):
        read_all(WHOLE[:at] + junk + WHOLE[at + len(junk) :])


def test_a_file_without_a_name_is_refused():
    assert "leads to another place" in refusal(WHOLE.replace(b"job.toml", bytes(8)))
