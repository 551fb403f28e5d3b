"""How many cores a process takes, and work that is done one after another where there is one."""

import threading

import pytest

from coverage_audit import threads


@pytest.mark.parametrize(("told", "wanted"), [("1", 1), ("2", 2), ("99", threads.MOST_AT_ONCE)])
def test_a_process_takes_as_many_cores_as_it_is_told(monkeypatch, told, wanted):
    monkeypatch.setenv(threads.CORES, told)
    assert threads.cores() == wanted


@pytest.mark.parametrize("told", ["", "0", "-1", "many", "1.5", "9" * 5000])
def test_what_is_no_number_of_cores_means_those_of_the_machine(monkeypatch, told):
    monkeypatch.setattr(threads.os, "cpu_count", lambda: 3)
    monkeypatch.setenv(threads.CORES, told)
    assert threads.cores() == 3


def test_with_one_core_work_is_done_in_the_thread_that_asks(monkeypatch):
    monkeypatch.setenv(threads.CORES, "1")
    with threads.beside() as others:
        where = [others.submit(threading.get_ident).result(), *others.map(lambda _: threading.get_ident(), range(2))]
    assert set(where) == {threading.get_ident()}
    assert threads.side_by_side(lambda number: number * 2, range(5)) == [0, 2, 4, 6, 8]


@pytest.mark.parametrize("cores", ["1", "2"])
def test_what_fails_beside_fails_where_its_result_is_asked_for(monkeypatch, cores):
    monkeypatch.setenv(threads.CORES, cores)
    with threads.beside() as others:
        done = others.submit(lambda: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            done.result()
