from __future__ import annotations

import pytest
from foamwright.core.check import Finding
from foamwright.core.pattern_json import to_dict
from foamwright.core.renaming import renamed, renaming
from sample_pattern import sample_pattern


def words_of(node) -> set[str]:
    """Every text in a document of lists and dicts."""
    if isinstance(node, dict):
        return set().union(*map(words_of, node.values()))
    if isinstance(node, list | tuple):
        return set().union(*map(words_of, node))
    return {node} if isinstance(node, str) else set()


@pytest.mark.parametrize("name", [piece.name for piece in sample_pattern().pieces])
def test_the_old_name_stands_nowhere_and_the_new_one_where_it_stood(name):
    pattern = sample_pattern()
    before, after = words_of(to_dict(pattern)), words_of(to_dict(renamed(pattern, name, "Wing 7")))
    assert name in before
    assert not [words for words in after if name in words]
    assert "Wing 7" in after
    assert {words for words in before if name not in words} - after <= note_words(pattern)


def note_words(pattern) -> set[str]:
    """Words that are laid out anew: they may be said shorter where there is less room."""
    return {line for piece in pattern.pieces for note in piece.notes for line in note.lines}


def test_findings_about_other_pieces_name_it_anew_and_keep_their_common_words():
    pattern = sample_pattern()
    other = Finding(
        "build-up", "note", "Piece crest stands 9 mm over brow band, and 5 mm of that is foam.", "Glue.", piece="crest"
    )
    (told,) = renamed(pattern.with_findings((other,)), "brow band", "Brow").findings
    assert told.message == "Piece crest stands 9 mm over Brow, and 5 mm of that is foam."
    (told,) = renamed(pattern.with_findings((other,)), "foam", "Brow").findings
    assert told.message == other.message


def test_a_longer_name_that_begins_alike_is_left():
    pattern = sample_pattern()
    both = renamed(renamed(pattern, "brow band", "P1"), "back plate", "P10")
    twice = renamed(both, "P1", "Brow")
    assert {"Brow", "P10"} <= {piece.name for piece in twice.pieces}
    assert twice.findings[0].message.startswith("P10")


def test_mates_know_the_new_name():
    pattern = renamed(sample_pattern(), "ear disc left", "Left ear")
    assert pattern.piece("ear disc right").mate == "Left ear"
    assert pattern.piece("Left ear").mate == "ear disc right"


def test_pieces_that_do_not_name_it_keep_their_words_as_they_are():
    pattern = sample_pattern()
    after = renamed(pattern, "back plate", "Back")
    told = {side.piece for joint in pattern.joints for side in joint.sides if "back plate" in _pieces_of(joint)}
    for piece, now in zip(pattern.pieces, after.pieces, strict=True):
        if piece.name not in told and piece.name != "back plate":
            assert now.notes is piece.notes
    assert after.piece("Back").notes != pattern.piece("back plate").notes


def test_every_piece_with_words_is_a_step():
    pattern = sample_pattern()
    assert len(list(renaming(pattern, "brow band", "Brow"))) > len(pattern.pieces) / 2


def _pieces_of(joint) -> set[str]:
    return {side.piece for side in joint.sides}
