import numpy as np
import pytest
from foamwright.core.errors import FormatError
from foamwright.core.memory import Memory, from_text, own_numbers, recall, remember, to_text

FACES = 6
OWN_PLACE = np.array([[10.0 + 5 * i, 3.0 * (i % 2), 0.0] for i in range(FACES)])
PIECE = np.array([1, 1, 2, 2, 3, 3])
MATE = np.array([4, 4, 5, 5, 3, 3])  # the third piece goes through the mirror plane
ORIGIN = np.tile(np.arange(FACES), 2)
KEY = np.concatenate([PIECE, MATE])
PLACE = np.concatenate([OWN_PLACE, OWN_PLACE * (-1, 1, 1)])


def test_both_sides_of_a_mirror_are_told_apart():
    own = own_numbers(ORIGIN, KEY, FACES)
    memory = remember(own[ORIGIN], KEY, PLACE)
    assert recall(memory, own[ORIGIN], PLACE).tolist() == KEY.tolist()


def test_they_still_are_after_an_edit():
    own = own_numbers(ORIGIN, KEY, FACES)
    memory = remember(own[ORIGIN], KEY, PLACE)
    moved = PLACE * (1.5, 1, 1) + (0, 40, 25)
    assert recall(memory, own[ORIGIN], moved).tolist() == KEY.tolist()
    halves = np.repeat(np.arange(2 * FACES), 2)  # each face was divided in two, which carry its number
    assert recall(memory, own[ORIGIN][halves], PLACE[halves] + np.resize([[1.0], [-1.0]], (4 * FACES, 1))).tolist() == (
        KEY[halves].tolist()
    )


def test_only_what_numbers_leave_open_is_kept():
    own = own_numbers(ORIGIN, KEY, FACES)
    assert own.tolist() == PIECE.tolist()
    assert set(remember(own[ORIGIN], KEY, PLACE).number.tolist()) == {1, 2}
    plain = own_numbers(np.arange(FACES), PIECE, FACES)
    assert len(remember(plain, PIECE, OWN_PLACE)) == 0
    assert recall(Memory.empty(), plain, OWN_PLACE).tolist() == PIECE.tolist()


def test_elements_without_a_number_go_by_place_alone():
    nothing = np.zeros(len(KEY), int)
    memory = remember(nothing, KEY, PLACE)
    assert recall(memory, nothing, PLACE + 0.4).tolist() == KEY.tolist()


def test_a_place_never_outweighs_a_number():
    memory = Memory(np.array([1, 2]), np.array([7, 8]), np.array([[0.0, 0, 0], [1e6, 0, 0]]))
    assert recall(memory, np.array([2, 1]), np.array([[0.0, 0, 0], [1e6, 0, 0]])).tolist() == [8, 7]


def test_an_element_that_nothing_was_made_from_carries_nothing():
    assert own_numbers(np.array([2, -1, 2]), np.array([0, 5, 6]), 4).tolist() == [0, 0, 6, 0]


def test_text_brings_it_back():
    memory = remember(np.zeros(len(KEY), int), KEY, PLACE)
    again = from_text(to_text(memory))
    for part in ("number", "key", "place"):
        assert np.array_equal(getattr(again, part), getattr(memory, part))
    assert to_text(Memory.empty()) == ""
    assert len(from_text("")) == 0


@pytest.mark.parametrize("text", ["?", "AAAA", "é", to_text(remember(np.zeros(12, int), KEY, PLACE))[:-8]])
def test_other_text_is_refused(text):
    with pytest.raises(FormatError, match="cannot be read"):
        from_text(text)
