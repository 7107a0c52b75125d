"""The command tree: short and long forms, optional nodes, numeric suffixes, compound messages."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from harness.simulated.error_list import Refusal
from harness.simulated.syntax import Unit, read_unit
from harness.simulated.value import Number, Span, boolean, shown, word

Answer = str | bytes
Suffixes = tuple[int, ...]
"""Numeric suffixes of the header, only those of nodes that carry one."""
Runner = Callable[[Suffixes, tuple[str, ...]], Answer | None]

_STEP = re.compile(r"(\[?):?(\*?[A-Za-z]+)(#?):?\]?")


@dataclass(slots=True)
class Leaf:
    """What a header does, as a command and as a query, and how many parameters each takes."""

    run: Runner | None = None
    run_takes: tuple[int, int] = (0, 0)
    ask: Runner | None = None
    ask_takes: tuple[int, int] = (0, 0)


@dataclass(slots=True)
class Node:
    """One place in the tree."""

    children: dict[str, tuple[Node, bool]] = field(default_factory=dict)
    """Short and long form to the node and whether it takes a numeric suffix."""
    leaf: Leaf | None = None


@dataclass(frozen=True, slots=True)
class Path:
    """Where a message has got to: the next unit starts here unless it begins with a colon."""

    node: Node
    suffixes: Suffixes = ()


class Tree:
    """Commands by pattern, such as `[SOURce]:VOLTage[:LEVel]`; `#` marks a numeric suffix of 1 to `suffix_max`."""

    def __init__(self, *, suffix_max: int = 1) -> None:
        self.root = Node()
        self._suffix_max = suffix_max

    @property
    def start(self) -> Path:
        """The root, where each message begins."""
        return Path(self.root)

    def add(self, pattern: str, leaf: Leaf) -> None:
        """Put a leaf where the pattern leads, by every way that optional nodes leave open."""
        places = [self.root]
        for optional, name, mark in _STEP.findall(pattern):
            reached = [self._child(node, name, bool(mark)) for node in places]
            places = [*places, *reached] if optional else reached
        for node in places:
            node.leaf = leaf

    def number(
        self,
        pattern: str,
        parameter: Number,
        span: Callable[[Suffixes], Span],
        *,
        get: Callable[[Suffixes], float],
        put: Callable[[Suffixes, float], None],
    ) -> None:
        """A numeric setting: command with one number, query with none or with MINimum, MAXimum, DEFault."""

        def run(suffixes: Suffixes, parameters: tuple[str, ...]) -> None:
            put(suffixes, parameter.read(parameters[0], span(suffixes)))

        def ask(suffixes: Suffixes, parameters: tuple[str, ...]) -> str:
            if not parameters:
                return shown(get(suffixes))
            limits = span(suffixes)
            usual = {"MINimum": limits.low, "MAXimum": limits.high, "DEFault": limits.default}
            return shown(usual[word(parameters[0], tuple(usual))])

        self.add(pattern, Leaf(run=run, run_takes=(1, 1), ask=ask, ask_takes=(0, 1)))

    def word(
        self, pattern: str, spellings: tuple[str, ...], *, get: Callable[[], str], put: Callable[[str], None]
    ) -> None:
        """A setting by word, answered in its short form."""
        self.add(
            pattern,
            Leaf(
                run=lambda _, parameters: put(word(parameters[0], spellings)),
                run_takes=(1, 1),
                ask=lambda _, __: "".join(letter for letter in get() if not letter.islower()),
            ),
        )

    def boolean(self, pattern: str, *, get: Callable[[], bool], put: Callable[[bool], None]) -> None:
        """A switch, answered as 1 or 0."""
        self.add(
            pattern,
            Leaf(
                run=lambda _, parameters: put(boolean(parameters[0])),
                run_takes=(1, 1),
                ask=lambda _, __: str(int(get())),
            ),
        )

    def query(self, pattern: str, ask: Callable[[Suffixes], Answer]) -> None:
        """A query without parameters."""
        self.add(pattern, Leaf(ask=lambda suffixes, _: ask(suffixes)))

    def action(self, pattern: str, run: Callable[[], None]) -> None:
        """A command without parameters."""
        self.add(pattern, Leaf(run=lambda _, __: run()))

    def find(self, text: str, path: Path) -> tuple[Callable[[], Answer | None], Path]:
        """What one unit of a message asks for, ready to call, and the path for the next unit."""
        unit = read_unit(text)
        here = self.start if unit.absolute or unit.common else path
        parent = here
        for mnemonic in unit.mnemonics:
            parent = here
            here = self._step(here, mnemonic, text)
        runner, (fewest, most) = _chosen(here.node.leaf, unit)
        if len(unit.parameters) < fewest:
            raise Refusal(-109, text)
        if len(unit.parameters) > most:
            raise Refusal(-108, text)
        return partial(runner, here.suffixes, unit.parameters), (path if unit.common else parent)

    def _step(self, path: Path, mnemonic: str, text: str) -> Path:
        found, suffix = path.node.children.get(mnemonic), 1
        if found is None:
            name = mnemonic.rstrip("0123456789")
            found = path.node.children.get(name)
            if found is None or name == mnemonic:
                raise Refusal(-113, text)
            suffix = int(mnemonic[len(name) :])
        child, suffixed = found
        if not 1 <= suffix <= (self._suffix_max if suffixed else 1):
            raise Refusal(-114, text)
        return Path(child, (*path.suffixes, suffix) if suffixed else path.suffixes)

    def _child(self, node: Node, name: str, suffixed: bool) -> Node:
        known = node.children.get(name.upper())
        if known is not None:
            return known[0]
        child = (Node(), suffixed)
        for form in {name.upper(), "".join(letter for letter in name if not letter.islower())}:
            node.children[form] = child
        return child[0]


def _chosen(leaf: Leaf | None, unit: Unit) -> tuple[Runner, tuple[int, int]]:
    runner = None if leaf is None else leaf.ask if unit.query else leaf.run
    if leaf is None or runner is None:
        raise Refusal(-113, unit.text)
    return runner, leaf.ask_takes if unit.query else leaf.run_takes
