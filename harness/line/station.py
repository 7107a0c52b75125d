"""A place: the state of its page, kept on the disk, moved by the scanner, the buttons and the bench's process."""

from __future__ import annotations

import asyncio
import dataclasses
from collections.abc import Sequence

from harness.app.output import say
from harness.config import LineFile, Misread
from harness.errors import GainladderError, ReportError
from harness.line.events import Badge, Dismiss, Effect, Event, Go, Prepare, Pressed, Refused, Stop, Unit, Unread
from harness.line.folder import read_json, write_json
from harness.line.hands import Hands
from harness.line.machine import step
from harness.line.state import Button, HeldLock, Kind, Screen, State, Verdict

LOOK_S = 0.2
"""Between two looks at the bench's process."""
BEAT_S = 1.0
LONGEST = 200
"""Characters of a scan; the rest is not kept."""


class Station:
    """One place; all its methods are called from one thread, but looks at the bench."""

    def __init__(self, line: LineFile, hands: Hands, *, golden_units: tuple[str, ...] = ()) -> None:
        """Takes up the state that was left on the disk."""
        self.line = line
        self._hands = hands
        self._golden_units = golden_units
        self.state = remembered(read_json(hands.place.session), newest=hands.place.newest())
        self.count = 0
        """Grows with each change of the state."""
        self.last_took_s: float | None = None
        self._changed = asyncio.Event()
        hands.place.withdraw_all_but(self.state.ticket)

    def scan(self, text: str) -> None:
        """A text from the scanner; anything at all."""
        self.feed(self.meant(text.strip("\r\n")))

    def meant(self, text: str) -> Event:
        """What a scanned text stands for."""
        if text in self._golden_units:
            return Unit(text, golden=True)
        serial, badge = self.line.serial.read(text), self.line.badge.read(text)
        if not isinstance(serial, Misread):
            return Unit(serial.kept) if serial.kept not in self._golden_units else Unread(text, "form")
        if not isinstance(badge, Misread):
            return Badge(badge.kept)
        misread = Misread.CHECKSUM in (serial, badge)
        shown = "".join(character if character.isprintable() else "?" for character in text[:LONGEST])
        return Unread(shown, str(Misread.CHECKSUM if misread else Misread.FORM))

    def press(self, button: Button) -> None:
        """A button."""
        self.feed(Pressed(button))

    def feed(self, event: Event) -> None:
        """An event: the new state is on the disk before anything is done for it, and seen when it is done.

        A look in between, from its thread, would find no process of a try that is only being started, and call it lost.
        """
        new, effects = step(self.state, event)
        changed = new != self.state
        if changed:
            if new.verdict is not None and new.verdict.took_s is not None:
                self.last_took_s = new.verdict.took_s
            # Progress is in the store; all else must outlive the page.
            if dataclasses.replace(new, done=0, left_s=None) != dataclasses.replace(self.state, done=0, left_s=None):
                self._remember(new)
        troubles = [trouble for trouble in map(self._do, effects) if trouble is not None]
        if changed:
            self.become(new)
        self.feed_all(troubles)

    def _remember(self, state: State) -> None:
        try:
            write_json(self._hands.place.session, dataclasses.asdict(state))
        except ReportError as error:
            # A full disk must not keep STOP from being carried out.
            say(f"the page cannot remember its state: {error}")

    def become(self, state: State) -> None:
        """Another state; whoever waits for one is told."""
        self.state = state
        self.count += 1
        self._changed.set()
        self._changed = asyncio.Event()

    def _do(self, effect: Effect) -> Refused | None:
        """What came of it, where that is trouble."""
        if isinstance(effect, Prepare):
            try:
                self._hands.prepare(effect)
            except (OSError, GainladderError) as error:
                return Refused(effect.ticket, "files", str(error))
        elif isinstance(effect, Go):
            self._hands.go(effect.ticket)
        elif isinstance(effect, Stop):
            self._hands.stop(effect.ticket)
        elif isinstance(effect, Dismiss):
            self._hands.dismiss(effect.ticket)
        return None

    async def changed(self, count: int, within_s: float) -> None:
        """Returns when the state is another than the one with this count, or the time is over."""
        if self.count == count:
            event = self._changed
            try:
                await asyncio.wait_for(event.wait(), within_s)
            except TimeoutError:
                return

    async def watch(self) -> None:
        """Look at the bench's process for ever."""
        while True:
            try:
                self.feed_all(await asyncio.to_thread(lambda: list(self._hands.look(self.state))))
            except Exception as error:
                # A page that no longer looks would show a run for ever; the next look may well succeed.
                say(f"a look at the bench failed: {type(error).__name__}: {error}")
            await asyncio.sleep(LOOK_S)

    def look(self) -> None:
        """One look at the bench's process, here and now."""
        self.feed_all(list(self._hands.look(self.state)))

    def feed_all(self, events: Sequence[Event]) -> None:
        """Several events, in order."""
        for event in events:
            self.feed(event)

    async def beat(self) -> None:
        """Give signs of life for ever: from where the page is served, so that one that hangs gives none."""
        while True:
            self._hands.place.beat()
            await asyncio.sleep(BEAT_S)

    def stop_now(self) -> None:
        """Tell the bench to end, from a signal handler: nothing is waited for, nothing is written."""
        self._hands.terminate(self.state.ticket)

    def end(self) -> None:
        """The page closes: the bench ends, source off, and the page remembers how."""
        self._hands.end(self.state.ticket)
        self.look()


def remembered(content: dict[str, object] | None, *, newest: int = 0) -> State:
    """The state that was left on the disk; the first one where there is none, or none that is understood.

    `newest` is the ticket of the newest try that left a folder: none is given twice.
    """
    if content is None:
        return State(ticket=newest)
    try:
        verdict, locks = content.get("verdict"), content.get("locks")
        return State(
            **{
                **content,
                "screen": Screen(str(content["screen"])),
                "verdict": Verdict(**{**verdict, "kind": Kind(verdict["kind"])}) if isinstance(verdict, dict) else None,
                "locks": tuple(HeldLock(**lock) for lock in locks) if isinstance(locks, list) else (),
            }  # type: ignore[arg-type]
        )
    except (TypeError, ValueError, KeyError):
        return State(ticket=newest)
