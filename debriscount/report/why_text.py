"""Why debris stayed, for the terminal: a few sentences below the table of a pass."""

from ..columns import TABLE_WIDTH, wrapped
from ..leftovers.records import PassStep, WhyLeft, WhySplit
from ..stats.proportion import Interval
from .rounding import interval_text, percent_text

# What else was found stands in the record.
_LEAST_PERCENT = 1.0  # of the leftovers that a sentence must explain
_MOST = 5  # sentences that explain a share
_DETAILS = ("bare", "direction", "no wall")


def why_block(why: WhyLeft | None, step: PassStep | None, width: int = TABLE_WIDTH) -> list[str]:
    """Return what a pass brought by itself and why debris stayed, as one block of lines, or nothing.

    Parameters
    ----------
    why : WhyLeft or None
        Why debris stayed in the pass.
    step : PassStep or None
        What the pass brought.
    width : int
        Columns of the longest line.

    Returns
    -------
    list of str
        No string or one. Shares overlap and must not be added.
    """
    lines = _step_lines(step, width)
    found = () if why is None else why.findings
    shown = [f.sentence for f in found if (f.share_percent or 0) >= _LEAST_PERCENT][:_MOST]
    shown += [f.sentence for f in found if f.share_percent is None and f.what not in _DETAILS]
    if found and found[0].what == "nothing left":
        lines += [wrapped(sentence, "  ", width) for sentence in shown]
    elif shown:
        if why is not None and "patch" in why.split:
            lines.append(wrapped(f"Of what stayed, {split_text(why.split['patch'])}.", "  ", width))
        lines.append("Why debris stayed (these overlap):")
        lines += [wrapped(f"- {sentence}", "  ", width) for sentence in shown]
    return ["\n".join(lines)] if lines else []


def split_text(split: WhySplit) -> str:
    """What became of the debris that stayed, as shares that sum to 100."""
    never, moved = round(split.never_reached_percent), round(split.moved_percent)
    lying = max(100 - never - moved, 0)
    shares = (
        (never, split.never_reached_interval95, "never reached"),
        (lying, split.left_lying_interval95, "reached and left lying"),
        (moved, split.moved_interval95, "moved and left"),
    )
    return ", ".join(f"{share} %{_between(interval)} was {words}" for share, interval, words in shares)


def _between(interval: Interval | None) -> str:
    return "" if interval is None else f" ({interval[0]:.0f} to {interval[1]:.0f} %)"


def _step_lines(step: PassStep | None, width: int) -> list[str]:
    if step is None or step.number == 1 or step.of_found_percent is None:
        return []
    interval = "" if step.of_found_interval95 is None else f" ({interval_text(step.of_found_interval95)})"
    said = f"Pass {step.number} picked up {percent_text(step.of_found_percent)}{interval} of what it found."
    return [wrapped(said, "  ", width)]
