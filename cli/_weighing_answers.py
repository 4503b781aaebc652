"""A weighing from a person's answers: given on the command line, or when asked."""

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence

from debriscount.errors import WeighingError
from debriscount.inputs.toml_guard import LEAST_NUMBER
from debriscount.inputs.weighing import ELSEWHERE, G_PER_UNIT, MOST_G, SWEPT, Net, Scale, Weighing
from debriscount.safety import MINERAL_DUST, OPEN_MACHINE

from ._interview import Answer, Ask

Loads = tuple[float, ...]

_NONE = "none"
#: With a comma, this may be either.
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")
_KITCHEN = "kitchen"


def gather_weighing(
    given: Mapping[str, str | None], swept: Sequence[str], elsewhere: Sequence[str], ask: Ask
) -> Weighing:
    """Read what is given, and ask for the rest step by step, in the order in which things are weighed.

    Parameters
    ----------
    given : mapping of str to str or None
        Words for unit, readability, repeatability, linearity, full, empty, portion, left_in_cup, clean_cup, bin_before,
        bin_after, emptied and clean_bin; None or missing where they are to be asked for, or were not weighed.
    swept, elsewhere : sequence of str
        Such as "open=3.1" and "brush=0.4"; if there are any, nothing more is asked about them.
    ask : callable
        Takes question, usual answer and what reads an answer.

    Returns
    -------
    Weighing

    Raises
    ------
    WeighingError
        Something given cannot be read, or nothing was scattered.
    """
    answer = _Answers(given, ask)
    unit = answer("unit", "Unit that the scale shows (g, oz)", "g", read_unit)
    answer.unit = unit
    scale = _scale(answer)
    dispensed = _dispensed(answer)
    left = answer.if_given("left_in_cup", answer.net)
    if dispensed.mass_g - (left.mass_g if left else 0.0) <= 0:
        raise WeighingError("nothing was scattered: the cup must be heavier full than empty. Read both again.")
    bin_net, emptied = _bin(answer)
    return Weighing(
        scale=scale,
        dispensed=dispensed,
        left_in_cup=left,
        usual_cup_g=answer.if_given("clean_cup", answer.loads) or (),
        bin=bin_net,
        usual_bin_g=answer.if_given("clean_bin", answer.loads) or (),
        emptied=emptied,
        swept=_parts(answer, swept, SWEPT, f"{MINERAL_DUST}\nSwept up in which zones", "Swept up"),
        elsewhere=_parts(
            answer, elsewhere, ELSEWHERE, f"{OPEN_MACHINE}\nDebris weighed elsewhere", "Found on or cut off the"
        ),
        unit=unit,
    )


class _Answers:
    """What is given, read; what is not, asked for. Readings become grams."""

    def __init__(self, given: Mapping[str, str | None], ask: Ask) -> None:
        self.given = given
        self.ask = ask
        self.unit = "g"

    def __call__(self, key: str, question: str, usual: str, read: Callable[[str], Answer]) -> Answer:
        word = self.given.get(key)
        try:
            return self.ask(question, usual, read) if word is None else read(word)
        except WeighingError as error:
            raise WeighingError(f"--{key.replace('_', '-')}: {error}") from None

    def has(self, *keys: str) -> bool:
        return any(self.given.get(key) is not None for key in keys)

    def if_given(self, key: str, read: Callable[[str], Answer]) -> Answer | None:
        word = self.given.get(key)
        return None if word is None else read(word)

    def loads(self, text: str) -> Loads:
        return tuple(self._grams(value, text) for value in read_loads(text))

    def net(self, text: str) -> Net:
        gross, dash, tare = text.partition("-")
        return Net(self.loads(gross), self.loads(tare) if dash else ())

    def grams(self, text: str) -> float:
        return self._grams(_number(text), text)

    def _grams(self, value: float, text: str) -> float:
        if (mass_g := value * G_PER_UNIT[self.unit]) > MOST_G:
            raise WeighingError(f"{text.strip()} {self.unit} are more than any scale for this carries. Read it again.")
        return mass_g


def read_unit(text: str) -> str:
    """Return "g" or "oz"."""
    if text.strip().lower() not in G_PER_UNIT:
        raise WeighingError(f'unit "{text}" is unknown. Known are: {", ".join(G_PER_UNIT)}.')
    return text.strip().lower()


def read_loads(text: str) -> Loads:
    """Return the readings of one load from "152.3", or repeats from "152.3 152.4"."""
    words = text.split()
    if not words:
        raise WeighingError('a reading is needed, such as "152.3", or repeats, such as "152.3 152.4".')
    return tuple(_number(word) for word in words)


def read_names(text: str, known: Sequence[str]) -> tuple[str, ...]:
    """Return names out of ``known`` from "open, edge"; none from "none"."""
    names = tuple(dict.fromkeys(text.replace(",", " ").lower().split()))
    if names == (_NONE,):
        return ()
    for name in names:
        if name not in known:
            raise WeighingError(f'"{name}" is unknown. Known are: {", ".join(known)}, or none.')
    if "total" in names and len(names) > 1:
        raise WeighingError("the total stands beside zones. Give either the zones or the total.")
    return names


def _scale(answer: _Answers) -> Scale:
    unit = answer.unit

    def read_step(text: str) -> float:
        if (step := answer.grams(text)) <= 0:
            raise WeighingError(f'the smallest step of the scale must be more than 0, got "{text}".')
        return step

    def read_or_usual(text: str) -> float | None:
        return None if text.strip().lower() == _KITCHEN else answer.grams(text)

    usual = "0.1" if unit == "g" else "0.01"
    readability_g = answer("readability", f"Smallest step of its display, {unit}", usual, read_step)
    repeatability_g = answer(
        "repeatability",
        f"Standard deviation of its readings of one load, {unit}, or {_KITCHEN} for a usual scale",
        _KITCHEN,
        read_or_usual,
    )
    if repeatability_g is None and not answer.has("linearity"):
        return Scale(readability_g)
    linearity_g = answer("linearity", f"Its greatest error at any load, {unit}, or {_KITCHEN}", _KITCHEN, read_or_usual)
    return Scale(readability_g, repeatability_g, linearity_g)


def _dispensed(answer: _Answers) -> Net:
    unit = answer.unit
    if answer.has("portion"):
        if answer.has("full", "empty"):
            raise WeighingError(
                "the portion is given beside the cup. Give the cup full and empty, or the portion alone."
            )
        return answer("portion", "", "", answer.net)
    full = answer("full", f"Cup with the portion, {unit} (repeats apart by blanks)", "", answer.loads)
    return Net(full, answer("empty", f"Cup after scattering, {unit}", "", answer.loads))


def _bin(answer: _Answers) -> tuple[Net | None, Net | None]:
    """Return what the bin gained, and what was emptied out of it."""
    ways, unit = ("weighed", "emptied"), answer.unit
    if answer.has("bin_before", "bin_after", "emptied"):
        chosen = tuple(
            way
            for way, keys in zip(ways, (("bin_before", "bin_after"), ("emptied",)), strict=True)
            if answer.has(*keys)
        )
    else:
        question = f"{OPEN_MACHINE}\nBin weighed before and after (weighed), its content (emptied), or none"
        chosen = answer.ask(question, _NONE, lambda text: read_names(text, ways))
    gained = emptied = None
    if "weighed" in chosen:
        before = answer("bin_before", f"Bin before the run, {unit}", "", answer.loads)
        gained = Net(answer("bin_after", f"Bin after the run, {unit}", "", answer.loads), before)
    if "emptied" in chosen:
        emptied = answer("emptied", f"Emptied out of the bin, {unit} (gross-tare, or net)", "", answer.net)
    return gained, emptied


def _parts(answer: _Answers, given: Sequence[str], known: Sequence[str], which: str, what: str) -> dict[str, Net]:
    """Masses by name: those given as "open=3.1", or those that are asked for one by one."""
    if given:
        words = dict(_named(given))
        read_names(" ".join(words), known)
        return {name: answer.net(word) for name, word in words.items()}
    names = answer.ask(f"{which} ({', '.join(known)}), or none", _NONE, lambda text: read_names(text, known))
    question = f"{what} {{}}, {answer.unit} (gross-tare, or net)"
    return {name: answer.ask(question.format(name), "", answer.net) for name in names}


def _named(given: Sequence[str]) -> Iterable[tuple[str, str]]:
    for text in given:
        name, sign, word = text.partition("=")
        if not sign:
            raise WeighingError(f'a mass must be written "open=3.1" (name and reading), got "{text}".')
        yield name.strip().lower(), word


def _number(text: str) -> float:
    """Return a reading with a decimal point or a decimal comma."""
    written = text.strip()
    if _THOUSANDS.fullmatch(written):
        raise WeighingError(
            f'"{written}" may be meant with a decimal comma or with thousands. Write {written.replace(",", ".")} or'
            f" {written.replace(',', '')}."
        )
    try:
        number = float(written.replace(",", ".", 1))
    except ValueError:
        number = math.nan
    if not (math.isfinite(number) and (number == 0 or number >= LEAST_NUMBER)):
        raise WeighingError(f'a reading must be a number of 0 or more, such as 152.3, got "{written}".')
    return number
