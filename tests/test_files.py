"""Files written whole or not at all, and the record of what exports have written."""

import errno
import os
import time
from dataclasses import replace

import pytest
from foamwright.core import files
from foamwright.core.errors import ExportError, SettingsError
from foamwright.core.files import DRAFT, OLD_S, draft_folder, put_in_place, whole_file, write_whole
from foamwright.core.written_files import FILE, WrittenFiles, stamp
from sample_pattern import sample_pattern


def _put(words):
    return lambda draft: draft.write_text(words, encoding="utf-8")


@pytest.mark.parametrize(
    ("problem", "told"),
    [
        (ValueError("too large on page 2"), r"'a.pdf' cannot be made of this pattern \(ValueError: too large.*Flatten"),
        (Exception("bad geometry"), r"'a.pdf' cannot be made"),
        (OSError(errno.EACCES, "Permission denied"), r"'a.pdf' cannot be written to the folder .*: Permission denied"),
        (OSError(errno.ENOSPC, "No space left on device"), r"The disk of the folder .* is full; make room"),
        (SettingsError("The paper is too small."), r"^The paper is too small\.$"),
    ],
)
def test_whatever_goes_wrong_is_told_and_leaves_what_was_there(tmp_path, problem, told):
    (tmp_path / "a.pdf").write_text("as it was", encoding="utf-8")

    def fail(draft):
        draft.write_text("half", encoding="utf-8")
        raise problem

    with pytest.raises((ExportError, SettingsError), match=told):
        write_whole(tmp_path / "a.pdf", fail)
    assert [path.read_text(encoding="utf-8") for path in tmp_path.iterdir()] == ["as it was"]


def test_a_full_disk_is_told_also_where_a_library_does_not_say_so(tmp_path, monkeypatch):
    usage = files.shutil.disk_usage(tmp_path)
    monkeypatch.setattr(files.shutil, "disk_usage", lambda _folder: usage._replace(free=0))
    with pytest.raises(ExportError, match="is full; make room"):
        write_whole(tmp_path / "a.png", lambda draft: 1 / 0)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such bits")
@pytest.mark.parametrize("umask", [0o022, 0o077, 0o002])
def test_who_may_read_a_file_is_for_the_user_to_say(tmp_path, umask):
    before = os.umask(umask)
    try:
        path = write_whole(tmp_path / "a.svg", _put("new"))
    finally:
        os.umask(before)
    assert path.stat().st_mode & 0o777 == 0o666 & ~umask


def test_a_write_protected_file_is_left_alone(tmp_path):
    path = write_whole(tmp_path / "a.svg", _put("precious"))
    path.chmod(0o444)
    with pytest.raises(ExportError, match="write-protected and was left alone"):
        write_whole(path, _put("new"))
    assert path.read_text(encoding="utf-8") == "precious"


def test_drafts_of_a_killed_run_are_removed_next_time_and_only_those(tmp_path):
    old = time.time() - OLD_S - 60
    for name in (f"{DRAFT}1.pdf", f"{DRAFT}at-work.pdf", ".hidden.pdf", "mine.pdf"):
        (tmp_path / name).write_text("half", encoding="utf-8")
    (tmp_path / f"{DRAFT}2").mkdir()
    (tmp_path / f"{DRAFT}2" / "a.svg").write_text("half", encoding="utf-8")
    for name in (f"{DRAFT}1.pdf", f"{DRAFT}2", ".hidden.pdf", "mine.pdf"):
        os.utime(tmp_path / name, (old, old))
    write_whole(tmp_path / "a.svg", _put("whole"))
    assert {path.name for path in tmp_path.iterdir()} == {f"{DRAFT}at-work.pdf", ".hidden.pdf", "mine.pdf", "a.svg"}


def test_a_folder_of_drafts_goes_and_what_was_put_in_place_stays(tmp_path):
    home = tmp_path / "not" / "yet"
    with draft_folder(home) as drafts:
        with whole_file(drafts / "a.svg") as draft:
            draft.write_text("whole", encoding="utf-8")
        assert not (home / "a.svg").exists()
        put_in_place(drafts / "a.svg", home / "a.svg")
        (drafts / "b.svg").write_text("half", encoding="utf-8")
    assert [path.name for path in home.iterdir()] == ["a.svg"]


def test_a_failure_in_a_folder_of_drafts_names_the_folder_that_the_maker_chose(tmp_path):
    def fail(draft):
        raise OSError(errno.ENOSPC, "No space left on device")

    with draft_folder(tmp_path) as drafts, pytest.raises(ExportError, match=f"folder '{tmp_path}' is full"):
        write_whole(drafts / "a.svg", fail)


@pytest.mark.parametrize("name", ["file/out", "zero\0"])
def test_a_folder_that_cannot_be_made_is_named(tmp_path, name):
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    with pytest.raises(ExportError, match="Choose a folder that you may write to"), draft_folder(tmp_path / name):
        raise AssertionError


@pytest.fixture
def export(tmp_path):
    """Put files of a shell and kind in place as an export does, {name: words}: export(...) -> names removed."""

    def export(shell, kind, words, pattern="1"):
        record = WrittenFiles(tmp_path)  # each export reads it anew
        with draft_folder(tmp_path) as drafts:
            for name, text in words.items():
                (drafts / name).write_text(text, encoding="utf-8")
                record.put(drafts / name, name, shell, kind, pattern)
        return record.drop_others(shell, kind, words)

    return export


def _there(folder):
    return {path.name: path.read_text(encoding="utf-8") for path in folder.glob("[!.]*")}


def test_a_later_export_replaces_its_own_files_and_removes_those_it_has_no_more(tmp_path, export):
    (tmp_path / "sheet-3.svg").write_text("the maker's own", encoding="utf-8")
    assert export("captain", "SVG", {"sheet-1.svg": "old", "sheet-2.svg": "old"}) == []
    export("captain", "DXF", {"sheet-2.dxf": "old"})
    export("squire", "SVG", {"squire-sheet-2.svg": "squire"})
    assert export("captain", "SVG", {"sheet-1.svg": "new"}, "2") == ["sheet-2.svg"]
    assert _there(tmp_path) == {
        "sheet-1.svg": "new",
        "sheet-3.svg": "the maker's own",
        "sheet-2.dxf": "old",
        "squire-sheet-2.svg": "squire",
    }
    assert WrittenFiles(tmp_path).of_other_patterns("captain", "2") == ["sheet-2.dxf"]


def test_files_of_others_and_files_changed_since_are_never_touched(tmp_path, export):
    (tmp_path / "a.svg").write_text("the maker's own", encoding="utf-8")
    (tmp_path / "folder.svg").mkdir()
    (tmp_path / "link.svg").symlink_to(tmp_path / "nowhere.svg")
    export("Squire", "SVG", {"b.svg": "squire"})
    export("captain", "SVG", {"c.svg": "captain", "d.svg": "captain"})
    for name in ("c.svg", "d.svg"):
        (tmp_path / name).write_text("with a drawing of the maker's", encoding="utf-8")
    for name, told in (
        ("a.svg", "not made by an export of 'captain'"),
        ("folder.svg", "not made by"),
        ("link.svg", "not made by"),
        ("b.svg", "exported from 'Squire'; give 'captain' a name"),
        ("c.svg", "or was changed since"),
    ):
        with pytest.raises(ExportError, match=told):
            export("captain", "SVG", {name: "new"}, "2")
    assert export("captain", "SVG", {"e.svg": "new"}, "2") == []
    assert (tmp_path / "d.svg").read_text(encoding="utf-8") == "with a drawing of the maker's"
    assert WrittenFiles(tmp_path).of_other_patterns("captain", "2") == ["c.svg", "d.svg"]
    (tmp_path / "folder.svg").rmdir()
    (tmp_path / "link.svg").unlink()
    assert _there(tmp_path)["a.svg"] == "the maker's own"


@pytest.mark.parametrize("step", ["before", "after"])
def test_a_run_that_is_killed_between_record_and_file_can_be_done_again(tmp_path, export, monkeypatch, step):
    export("captain", "SVG", {"a.svg": "old"})

    def killed(draft, target):
        if step == "after":
            put_in_place(draft, target)
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("foamwright.core.written_files.put_in_place", killed)
        with pytest.raises(KeyboardInterrupt):
            export("captain", "SVG", {"a.svg": "new"})
    export("captain", "SVG", {"a.svg": "newer"})
    assert _there(tmp_path) == {"a.svg": "newer"}


@pytest.mark.parametrize(
    "words",
    ["", "[1]", '{"format":"foamwright files","version":1,"files":7}', '{"format":"foamwright files","version":2}'],
)
def test_a_broken_record_makes_no_file_ours(tmp_path, export, words):
    export("captain", "SVG", {"a.svg": "old"})
    (tmp_path / FILE).write_text(words, encoding="utf-8")
    with pytest.raises(ExportError, match="was left alone"):
        export("captain", "SVG", {"a.svg": "new"})
    export("captain", "SVG", {"b.svg": "new"})
    assert _there(tmp_path) == {"a.svg": "old", "b.svg": "new"}


def test_a_record_that_points_elsewhere_is_not_followed(tmp_path, export):
    outside = tmp_path / "outside.svg"
    home = tmp_path / "home"
    home.mkdir()
    outside.write_text("precious", encoding="utf-8")
    export("captain", "SVG", {"a.svg": "precious"})
    (home / FILE).write_text((tmp_path / FILE).read_text("utf-8").replace("a.svg", "../outside.svg"), encoding="utf-8")
    assert WrittenFiles(home).drop_others("captain", "SVG", ()) == []
    assert outside.exists()


def test_the_stamp_tells_patterns_apart():
    pattern = sample_pattern()
    assert stamp(pattern) == stamp(sample_pattern())
    one = pattern.pieces[0]
    moved = replace(one, outside_outline=tuple(ring + 0.1 for ring in one.outside_outline))
    for other in (
        replace(pattern, sheets=pattern.sheets[:1]),
        replace(pattern, pieces=(moved, *pattern.pieces[1:])),
        replace(pattern, pieces=(replace(one, notes=()), *pattern.pieces[1:])),
    ):
        assert stamp(other) != stamp(pattern)
