"""Work shared out among threads gives what it gives in turn."""

import threading

import cv2
import pytest

from rootread.threads import begun, both, share_out
from rootread.units import length_words, lengths_shown_in


@pytest.fixture(params=[1, 3])
def threads(request, monkeypatch):
    monkeypatch.setattr(cv2, "getNumThreads", lambda: request.param)


def test_results_come_in_the_order_of_the_parts(threads):
    assert share_out(lambda part: part**2, range(50)) == [part**2 for part in range(50)]


def test_the_first_error_in_the_order_of_the_parts_is_raised(threads):
    with pytest.raises(ZeroDivisionError):
        share_out(lambda part: 1 / part if part else 1 // 0, [1, 0, "x"])


def test_sentences_written_in_another_thread_state_lengths_in_the_unit_shown(threads):
    with lengths_shown_in("cm"):
        assert set(share_out(length_words, [10.0, 10.0])) == {length_words(10.0)}
        assert "cm" in length_words(10.0)


def test_two_pieces_of_work_give_their_results_in_order(threads):
    assert both(lambda: "one", lambda: 2) == ("one", 2)


def test_of_two_errors_the_first_ones_is_raised(threads):
    with pytest.raises(KeyError):
        both(lambda: {}["none"], lambda: 1 // 0)


def test_work_begun_before_gives_its_result_when_it_is_asked_for(threads):
    with lengths_shown_in("cm"):
        asked = begun(lambda: length_words(10.0))
        assert asked() == length_words(10.0)
        assert "cm" in length_words(10.0)


def test_an_error_of_work_begun_before_is_raised_when_its_result_is_asked_for(threads):
    asked = begun(lambda: 1 // 0)
    with pytest.raises(ZeroDivisionError):
        asked()


def test_work_that_no_thread_has_begun_is_done_by_who_asks_for_it(threads):
    free = threading.Event()
    waiting = [begun(free.wait) for _ in range(3)]  # more than there are helpers
    assert begun(threading.current_thread)() is threading.main_thread()
    free.set()
    assert all(wait() for wait in waiting)


def test_work_may_be_shared_out_from_within_shared_out_work(threads):
    def total(size: int) -> int:
        return sum(share_out(lambda part: sum(both(lambda: part, lambda: 1)), range(size)))

    assert share_out(total, range(20)) == [size * (size + 1) // 2 for size in range(20)]


def test_no_more_threads_run_than_there_are_cores(threads):
    def names(depth: int) -> set[str]:
        here = {threading.current_thread().name}
        return here.union(*share_out(names, [depth - 1] * 4)) if depth else here

    assert len(names(4)) <= cv2.getNumThreads()
