"""What the order of exchanges costs beyond the least sum that the rules of safety leave, on a simulated clock."""

import importlib
import io
import itertools

import pytest

overhead = importlib.import_module("tests.benchmarks.overhead")


@pytest.mark.parametrize("hold", [False, True])
def test_a_sweep_waits_for_hardly_more_than_the_physics(tmp_path, hold):
    setup = overhead._setup(tmp_path, overhead.REALISTIC, record_s=overhead.RECORD_S, hold=hold)
    floor_s = overhead.floor_s(setup)
    # By hand: 84 readings of 5 ms a record, 1 ms a word and three answers of 0.5 ms; each of the four ranges takes one
    # answer more, three of them a relay of 5 ms instead of the word; a level that stays takes no answer.
    stays = sum(a.drive_vpk == b.drive_vpk for a, b in itertools.pairwise(setup.rungs))
    assert stays > 50 if hold else stays < 5
    assert floor_s == pytest.approx(84 * 7.5e-3 + 4 * 0.5e-3 + 3 * 4e-3 - stays * 0.5e-3, abs=1e-9)
    assert floor_s <= overhead.waited_s(setup) <= 1.01 * floor_s


@pytest.mark.parametrize(
    ("message", "reply", "block"),
    [
        (b"ARM\nSYST:ERR?\n", b'OK\n0,"No error"\n', False),
        (b"FETCH?\nSYST:ERR?\n", b'#14ab\nc\n0,"No error"\n', True),
        (b"FETCH?\n", b"#11x\n", True),
    ],
)
def test_the_bare_loop_reads_what_an_adapter_answers_and_no_more(message, reply, block):
    port = io.BytesIO(reply + b"next\n")
    port.write = lambda sent: None
    overhead._serial_speaker(port)(overhead.Exchange("adapter", message, reply, block=block))
    assert port.read() == b"next\n"
