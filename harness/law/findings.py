"""Problems of one file as they are found."""

from __future__ import annotations

from dataclasses import dataclass, field

from harness.errors import Problem


@dataclass(slots=True)
class Findings:
    """Problems of one file as they are found."""

    file: str
    problems: list[Problem] = field(default_factory=list)

    def add(self, key: str, got: str, allowed: str) -> None:
        """Note one problem: key path, what stands there, what may stand there."""
        self.problems.append(Problem(file=self.file, key=key, got=got, allowed=allowed))

    def about(self, ending: str) -> bool:
        """Whether a problem was noted at a key path with this ending."""
        return any(problem.key.endswith(f".{ending}") for problem in self.problems)
