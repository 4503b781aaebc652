"""What speaks against a figure: codes that scripts can filter by, and sentences for a reader."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

#: How much a flag says against the figures: "unfit" makes those it concerns not fit to publish, "doubtful" asks for
#: care, a "note" changes nothing.
Severity = Literal["unfit", "doubtful", "note"]
#: From the worst on.
SEVERITIES: tuple[Severity, ...] = ("unfit", "doubtful", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """One thing that was noticed about a run.

    ``code`` is a fixed word for it, as "blurred" or "debris-on-blank"; ``sentence`` says what is wrong and what to do.
    ``shot`` ("blank", "before", "after", …) and ``zone`` are None where it concerns all of them.
    """

    code: str
    severity: Severity
    sentence: str
    shot: str | None = None
    zone: str | None = None


def worst_first(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Flags by severity; within one, as they come."""
    return tuple(sorted(flags, key=lambda flag: SEVERITIES.index(flag.severity)))


def said_once(flags: Iterable[Flag]) -> tuple[tuple[Severity, str], ...]:
    """Every sentence once, with the worst severity it is said in and the shots it holds for before it.

    "before and after: marker 3 is not seen." A sentence that begins with its shot is left as it is.
    """
    shots: dict[tuple[str, str], list[str]] = {}
    worst: dict[tuple[str, str], Severity] = {}
    for flag in worst_first(flags):
        key = flag.code, flag.sentence
        worst.setdefault(key, flag.severity)
        named = shots.setdefault(key, [])
        if flag.shot is not None and flag.shot not in named:
            named.append(flag.shot)
    return tuple((severity, _with_shots(key[1], shots[key])) for key, severity in worst.items())


def sentences(flags: Iterable[Flag]) -> tuple[str, ...]:
    """The sentences of `said_once` alone."""
    return tuple(sentence for _, sentence in said_once(flags))


def remarks(flags: Iterable[Flag]) -> tuple[str, ...]:
    """The same, each with "Note: " or "Warning: " before it."""
    return tuple(
        f"{'Note' if severity == 'note' else 'Warning'}: {said}" for severity, said in said_once(flags) if said
    )


def listed(words: Sequence[str], last: str = "and") -> str:
    """Words as one names them: "blank, before and after"; ``last`` stands before the last of them."""
    return f" {last} ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _with_shots(sentence: str, shots: Sequence[str]) -> str:
    begins = re.match(rf"(the )?({'|'.join(map(re.escape, shots))})\b", sentence, re.IGNORECASE)
    return f"{listed(shots)}: {sentence}" if shots and not begins else sentence
