"""CSV captures: three kinds of table; what cannot be read is named by line and column."""

from __future__ import annotations

import contextlib
import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.bus.csv_reader import CsvReader
from harness.bus.table_text import parse_error
from harness.errors import CaptureError

CALM = settings(derandomize=True, deadline=None, max_examples=200)
LINES = ("data", "clock", "latch-1")
GOOD = "time_s,data,clock,latch_1\n0,0,0,0\n1e-6,1,0,0\n2e-6,1,1,x\n"


def read(text, lines=LINES, chunk=1000):
    reader = CsvReader(lines)
    rows = text.split("\n")
    parts = [reader.take(rows[start : start + chunk]) for start in range(0, len(rows), chunk)]
    reader.finish()
    return reader, np.concatenate([times for times, _ in parts]), np.concatenate([cells for _, cells in parts])


@pytest.mark.parametrize("chunk", [1, 2, 3, 1000])
def test_rows_of_levels(chunk):
    reader, times_ns, cells = read(GOOD, chunk=chunk)
    assert reader.kind == "logic"
    assert reader.lines == LINES
    assert times_ns.tolist() == [0, 1000, 2000]
    assert cells[:2].tolist() == [[0, 0, 0], [1, 0, 0]]
    assert np.isnan(cells[2, 2])


def test_rows_of_volts_in_another_order_with_a_bystander():
    text = "# scope\n\ntime_ns,clock_v,other,latch_1_v,data_v\n-5,0.1,77,3.3,0.2\n5,3.2,77,3.3,0.1\n"
    reader, times_ns, cells = read(text)
    assert reader.kind == "volts"
    assert times_ns.tolist() == [-5, 5]
    assert cells.tolist() == [[0.2, 0.1, 3.3], [0.1, 3.2, 3.3]]


def test_without_wanted_names_all_columns_are_lines():
    reader, _, cells = read("time_s,a_v,b_v\n0,1,2\n", lines=None)
    assert reader.lines == ("a", "b")
    assert cells.tolist() == [[1, 2]]


@pytest.mark.parametrize("chunk", [1, 2, 1000])
def test_edge_list(chunk):
    text = "time_ns,line,level\n10,clock,0\n20,data,1\n20,spare,1\n30,latch-1,x\n40,latch-1,1\n50,data,0\n"
    reader, times_ns, cells = read(text, chunk=chunk)
    assert reader.kind == "edges"
    assert times_ns.tolist() == [10, 20, 20, 30, 40, 50]
    assert cells[:, 0].tolist() == [0, 1, 1, 1, 1, 0]
    assert np.isnan(cells[3, 2])
    assert cells[4, 2] == 1.0
    if chunk == 1000:
        assert reader.initial == 0b010  # the clock's first change is to 0


def test_byte_order_mark_quotes_and_line_ends_are_borne():
    _, times_ns, cells = read('\ufeff"time_s","data","clock","latch_1"\r\n0,0,0,0\r\n1e-9, 1 ,0,0\r\n')
    assert times_ns.tolist() == [0, 1]
    assert cells[1].tolist() == [1, 0, 0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (GOOD + "3e-6,1,1\n", r"5:9 \(line:column\): got 3 cells; allowed: 4, as the head .*: is the file whole"),
        (GOOD + "3e-6,1,1,0,0\n", r"5:12 .*got 5 cells; allowed: 4"),
        (GOOD + "3e-6,1,two,0\n", r"5:8 .*got 'two'; allowed: a finite number, or x"),
        (GOOD + "3e-6,1,,0\n", r"5:8 .*got ''; allowed: a finite number"),
        (GOOD + "3e-6,1,nan,0\n", r"5:8 .*got 'nan'"),
        (GOOD + "3e-6,1,1_0,0\n", r"5:8 .*got '1_0'"),
        (GOOD + "3e-6,1e999,0,0\n", r"5:6 .*got '1e999'"),
        (GOOD + "3e-6,1,0.37,0\n", r"5:8 .*got '0.37'; allowed: 0, 1 or x \(name the column with _v"),
        (GOOD + "1e-6,1,0,0\n", r"5:1 .*got '1e-6'; allowed: times that never decrease"),
        (GOOD + "1e30,1,0,0\n", r"5:1 .*got '1e30'; allowed: a number, a time within"),
        (GOOD + "x,1,0,0\n", r"5:1 .*got 'x'; allowed: a number"),
        (GOOD + "\n3e-6,1,0,0\n", r"5:1 .*got a line of 0 characters; allowed: a row of the table"),
        (GOOD + "3e-6," + "1" * 70_000 + "\n", r"5:1 .*got a line of 70005 characters"),
        ("t,data,clock,latch_1\n", r"1:1 .*got 't,data,clock,latch_1'; allowed: a head such as time_s,data"),
        ("time_s\n0\n", r"1:1 .*got 'time_s'; allowed: a head"),
        ("time_s,data,latch_1\n", r"1:1 .*got 0 columns for line clock among 'data, latch_1'; allowed: one of its"),
        ("time_s,data,clock,clock_v,latch_1\n", r"got 2 columns for line clock"),
        ("time_s,data,clock_v,latch_1\n", r"got levels beside volts; allowed: all lines as levels, or all as volts"),
        ("time_s,data_v,clock_v,latch_1_v\n0,1,2,x\n", r"2:7 .*got 'x'; allowed: a finite voltage"),
        ("time_s,line,level\n0,data\n", r"2:1 .*got 2 cells; allowed: 3: time, line and level"),
        ("time_s,line,level\n0,data,2\n", r"2:8 .*got '2'; allowed: 0, 1 or x"),
        ("time_s,line,level\nx,data,1\n", r"2:1 .*got 'x'; allowed: a time"),
        ("time_s,line,level\n1,data,1\n0,data,0\n", r"3:1 .*got '0'; allowed: times that never decrease"),
        ("", "the file ends with no head"),
        ("# only a remark\n", "the file ends with no head; allowed is a head such as time_s,data,clock and rows"),
        ("time_s,data,clock,latch_1\n\n", "the file ends with no row"),
    ],
)
def test_what_cannot_be_read_is_named_by_line_and_column(text, words):
    with pytest.raises(CaptureError, match=words):
        read(text)


def test_rows_before_the_trouble_are_given_first():
    reader = CsvReader(LINES)
    times_ns, _ = reader.take((GOOD + "3e-6,1,1,0\n1e-6,1,0,0\n4e-6,1,1,0\n").split("\n"))
    assert times_ns.tolist() == [0, 1000, 2000, 3000]
    for more in (lambda: reader.take(["5e-6,1,1,0"]), reader.finish):
        with pytest.raises(CaptureError, match=r"CSV: 6:1 .*got '1e-6'"):
            more()


def test_errors_of_tables_survive_pickling():
    error = pickle.loads(pickle.dumps(parse_error(3, 7, "'x'", "a number")))
    assert (str(error), error.line) == ("CSV: 3:7 (line:column): got 'x'; allowed: a number", 3)


def test_line_numbers_count_over_chunks():
    with pytest.raises(CaptureError, match=r"CSV: 5:8 "):
        read(GOOD + "3e-6,1,two,0\n", chunk=2)


def test_tables_without_names_have_at_most_eight_lines_and_no_edges():
    with pytest.raises(CaptureError, match="got 9 lines; allowed: 1 to 8 lines; name them in a wiring"):
        read("time_s," + ",".join("abcdefghi") + "\n", lines=None)
    with pytest.raises(CaptureError, match="got an edge list without a wiring; allowed: a wiring"):
        read("time_s,line,level\n", lines=None)


@CALM
@given(
    position=st.integers(0, len(GOOD)),
    cut=st.integers(0, 10),
    piece=st.text(alphabet="0123456789.,eExX-+\n\r_av\x00é\u2028", max_size=8),
)
def test_damaged_table_is_read_or_refused(position, cut, piece):
    with contextlib.suppress(CaptureError):
        _, times_ns, cells = read(GOOD[:position] + piece + GOOD[position + cut :])
        assert times_ns.size == cells.shape[0]
