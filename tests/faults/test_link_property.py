"""No wrong number is ever recorded as good, whatever the links do: a state machine, and every fault of a link.

A longer search: `LINK_EXAMPLES=500 pytest tests/faults/test_link_property.py`.
"""

from __future__ import annotations

import contextlib
import os

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from harness.errors import BenchError
from harness.simulated import SIZES, FaultEntry, catalogue
from harness.values import ReadingStatus
from tests.faults.link_world import GOING, KINDS, MESSAGES, ROLES, LinkWorld, Meddler, Spoiler, link_world

ANSWERS = {"source": 70, "device": 110, "adapter": 12}
"""More answers than preparing, self-check and a rung take."""

INTRUSIONS = (b"NONSENSE\n", b"SYST:ERR?;*OPC?\n", b"*RST\n", b"*IDN")
"""What somebody else may send on the same link."""


class Links(RuleBasedStateMachine):
    """Trouble is put in, the ladder is walked, trouble stays or is healed; the property is asked of each reading."""

    def __init__(self) -> None:
        super().__init__()
        self._stack = contextlib.ExitStack()
        self.world: LinkWorld = self._stack.enter_context(link_world())
        self.trouble = 0
        self.wrong: list[str] = []

    @rule(role=st.sampled_from(ROLES), kind=st.sampled_from(KINDS), share=st.floats(0, 1), byte=st.integers(0, 10_000))
    def spoil(self, role: str, kind: str, share: float, byte: int) -> None:
        """An answer somewhere in the next walk goes wrong, at some byte."""
        self.world.links[role].hooks.append(Spoiler(kind, round(share * ANSWERS[role]), byte))
        self.trouble += 1

    @rule(role=st.sampled_from(ROLES), kind=st.sampled_from(MESSAGES), share=st.floats(0, 1))
    def meddle(self, role: str, kind: str, share: float) -> None:
        """A message somewhere in the next walk goes wrong."""
        self.world.links[role].faults.append(Meddler(kind, round(share * ANSWERS[role])))
        self.trouble += 1

    @rule(role=st.sampled_from(ROLES), command=st.sampled_from(INTRUSIONS))
    def intrude(self, role: str, command: bytes) -> None:
        """Somebody else sends something on the same link; its answer, if it has one, is not read."""
        with contextlib.suppress(Exception):
            self.world.links[role].write(command)
        self.trouble += 1

    @rule()
    def walk(self) -> None:
        """Sweep a few rungs."""
        readings = self.world.walk()
        self.wrong += self.world.wrong(readings)
        self.last = readings

    @precondition(lambda self: self.trouble > 0)
    @rule()
    def heal(self) -> None:
        """Without trouble the same bench measures everything."""
        self.world.heal()
        self.trouble = 0
        readings = self.world.walk()
        self.wrong += self.world.wrong(readings)
        assert [r.status for r in readings] == [ReadingStatus.VALID] * len(self.world.rungs)
        assert not self.world.source_is_on()

    @invariant()
    def nothing_wrong_is_called_good(self) -> None:
        """The property."""
        assert self.wrong == []

    def teardown(self) -> None:
        """Close what was opened."""
        with contextlib.suppress(Exception):
            self._stack.close()


TestLinks = Links.TestCase
TestLinks.settings = settings(
    max_examples=int(os.environ.get("LINK_EXAMPLES", "25")),
    stateful_step_count=8,
    deadline=None,
    derandomize="LINK_EXAMPLES" not in os.environ,
    suppress_health_check=list(HealthCheck),
)

# Far enough that the first rung is under way: preparing and self-check send and get less.
REACHED = {"source": (55, 30), "device": (75, 30), "adapter": (6, 6)}
"""Messages and answers before that; of the adapter, what it heard at the second rung is being fetched then."""


@pytest.mark.parametrize("kind", [*MESSAGES, *GOING])
@pytest.mark.parametrize("role", ROLES)
def test_trouble_leaves_its_reason_and_no_wrong_number(role: str, kind: str) -> None:
    messages, answers = REACHED[role]
    with link_world() as world:
        if kind in MESSAGES:
            world.links[role].faults.append(Meddler(kind, messages))
        else:
            world.links[role].hooks.append(Spoiler(kind, answers, 1))
        readings = world.walk()
        assert world.wrong(readings) == []
        # The adapter alone may fail without a reading being taken again: its words are missing, and it is said why.
        told = [r.capture_reason if role == "adapter" else r.reason for r in readings]
        assert sum(map(bool, told)) == 1
        assert sum(r.status is ReadingStatus.VALID for r in readings) == len(world.rungs)
        assert not world.source_is_on()


@pytest.mark.parametrize("kind", MESSAGES)
def test_an_adapter_that_fails_while_it_is_armed_ahead_costs_no_word(kind: str) -> None:
    """It is armed for the next setting while a record is taken; should that fail, it is armed again at the setting."""
    with link_world() as world:
        world.links["adapter"].faults.append(Meddler(kind, 4))
        readings = world.walk()
        assert world.wrong(readings) == []
        assert [(r.capture is None, r.capture_reason) for r in readings] == [(False, "")] * len(world.rungs)


OF_LINKS = [entry for entry in catalogue() if entry.roles and entry.id != "I28"]
GONE = {"reply-missing", "link-closed-by-peer", "wrong-instrument", "two-owners"}
"""At their largest size nothing at all can be sent to the source any more: the run says that it may still be on."""


@pytest.mark.parametrize("entry", OF_LINKS, ids=[entry.name for entry in OF_LINKS])
def test_no_fault_of_a_link_makes_a_wrong_number_good(entry: FaultEntry) -> None:
    """From the first record of the ladder on, and now and then, on each link that can have it."""
    for role in entry.roles:
        for text in (f"{SIZES[entry.id].above}@8", "~0.05@1"):
            fault = f"{entry.name}:{role}{text}"
            gone = role == "source" and entry.name in GONE
            with contextlib.suppress(BenchError), link_world(fault) as world:
                assert world.wrong(world.walk()) == [], fault
                assert gone or not world.source_is_on(), fault
