"""Everything that was noticed about a run before its figures, as flags: of photo files, shots and weighings."""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager

from ..errors import NoDebrisError, ShotOrderError
from ..flags import SEVERITIES, Flag, Severity, worst_first
from ..inputs.debris import DebrisKind
from ..inputs.patch import Patch
from ..photo.read import Photo
from ..pickup.trust import SOUND
from ..registration.locate import LocatedShots
from ..scale.balance import Balance
from ..shot_check.allowance import TOGETHER
from ..shot_check.causes import EXPLAINED_BY, causes
from ..shot_check.records import USUAL_WANT, Finding, Fitness
from ..shot_check.shot import check_located

#: Accuracies less than the usual, percentage points. A fault at the first, that of a sound figure, makes figures
#: doubtful; at the second, where a fault alone may cost all that a sound figure may be off by (the check shares that
#: among `TOGETHER` independent ones), they are not fit to publish.
WANTS = (SOUND, SOUND * math.sqrt(TOGETHER))
#: Fine grains are measured too small in every shot alike, which cancels in a pickup; those too fine for that are told
#: by `checks.kind_flags`.
CANCELS = ("too-coarse",)
#: What widens the interval, whose noise is that of the photos themselves: shared by all shots, it says no more.
WIDENS = ("noisy", "compressed")


def photo_flags(photos: Mapping[str, Photo], told: Sequence[str]) -> list[Flag]:
    """Flags for what `side_by_side` told of photos: first of each file, then of settings, last of missing colour."""
    own = [
        Flag(code="photo-file", severity="note", sentence=sentence, shot=name)
        for name, photo in photos.items()
        for sentence in photo.warnings
    ]
    rest = list(told[len(own) :])
    grey = [rest.pop()] if any(photo.grey for photo in photos.values()) else []
    return [
        *(Flag(code="no-colour", severity="doubtful", sentence=sentence) for sentence in grey),
        *own,
        *(Flag(code="settings-differ", severity="note", sentence=sentence) for sentence in _one_for_each_advice(rest)),
    ]


def _one_for_each_advice(told: Sequence[str]) -> list[str]:
    """Sentences of the form "what differs; what to do", those that say to do the same together."""
    differs: dict[str, list[str]] = {}
    for sentence in told:
        what, _, advice = sentence.rpartition("; ")
        differs.setdefault(advice, []).append(what)
    return [f"{', '.join(what)}; {advice}" for advice, what in differs.items()]


def shot_flags(
    photos: Mapping[str, Photo], located: LocatedShots, patch: Patch, kinds: Sequence[DebrisKind]
) -> list[Flag]:
    """Flags for everything that makes a shot unfit, each cause once and without its symptoms."""
    usual = check_located(photos, located, patch, kinds, USUAL_WANT)
    if all(one.fit for one in usual.values()):
        return []
    return fault_flags(usual, {want: check_located(photos, located, patch, kinds, want) for want in WANTS})


#: Faults of a photo after which debris that is missing, or too much of it, is no wonder.
SPOILING = ("blurred", "burnt-out", "shadow", "patch-cut", "faint", "other-tone")


@contextmanager
def refused_for_its_cause(photos: Mapping[str, Photo], faults: Callable[[], Iterable[Flag]]) -> Iterator[None]:
    """Let a refusal of the debris or of the shots' order inside give a photo's own fault, where one has any.

    ``faults`` finds the flags of the photos, which is done only when something was refused.

    Raises
    ------
    NoDebrisError, ShotOrderError
        As raised inside, with the fault of the worst photo as the reason.
    """
    try:
        yield
    except (NoDebrisError, ShotOrderError) as refusal:
        spoiling = [flag for flag in faults() if flag.code in SPOILING and flag.severity != "note"]
        if not spoiling:
            raise
        worst = worst_first(spoiling)[0]
        name = photos[worst.shot or "before"].name
        raise type(refusal)(
            f"{name}: {worst.sentence.rstrip('.')}. Debris cannot be told from floor in it."
        ) from refusal


def fault_flags(usual: Mapping[str, Fitness], by_want: Mapping[float, Mapping[str, Fitness]]) -> list[Flag]:
    """Flags for the faults of shots checked together, the first of which all others were held against.

    Parameters
    ----------
    usual : mapping of str to Fitness
        Of every shot, at the usual accuracy.
    by_want : mapping of float to mapping of str to Fitness
        The same at each of `WANTS`.

    Returns
    -------
    list of Flag
        A note unless the fault, or a symptom of it, is one at less accuracy too. One that all shots share is a step
        less grave, since a pickup is a ratio, and a note where the interval is the wider for it. Of the shots that
        share a fault all say the same: how far beyond its limit it is in the worst of them.
    """
    first = next(iter(usual))
    # Lens and plane are fitted to all shots together, so that one that is blurred spoils them for all.
    blurred = [fault for one in usual.values() for fault in one.faults if fault.code == "blurred"]
    found = [
        (name, fault)
        for name, one in usual.items()
        for fault in causes(one.faults, [*blurred, *usual[first].faults] if name != first else blurred)
    ]
    worst: dict[str, Finding] = {}
    for _, fault in sorted(found, key=lambda pair: -pair[1].excess):
        worst.setdefault(fault.code, fault)
    sharing = Counter(fault.code for _, fault in found)
    flags: dict[tuple[str, str], Flag] = {}
    for name, fault in found:
        grave, sentence = _gravity(name, fault, by_want), worst[fault.code].sentence
        if sharing[fault.code] == len(usual) > 1:
            grave = 0 if fault.code in WIDENS else max(grave - 1, 0)
        code, shot = fault.code, name
        if code == "other-blurred":
            code, shot = "blurred", first
            sentence = f"edges are spread over {fault.value:.3g} px, more than in {name}. Retake it, if it can be."
        severity: Severity = SEVERITIES[-1 - grave]
        flags.setdefault((code, shot), Flag(code=code, severity=severity, sentence=sentence, shot=shot))
    return list(flags.values())


def _gravity(name: str, fault: Finding, by_want: Mapping[float, Mapping[str, Fitness]]) -> int:
    """0 for a note, 1 for what makes figures doubtful, 2 for what makes them unfit."""
    if fault.code in CANCELS:
        return 0
    return sum(_spoils(fault, by_want[want][name], want) for want in WANTS)


def _spoils(fault: Finding, checked: Fitness, want: float) -> bool:
    """Whether a fault at the usual accuracy, or a symptom of it, is one at less."""
    for other in checked.faults:
        same = (other.name, other.limit) == (fault.name, fault.limit)
        # What was measured up to a fixed limit is trusted somewhat beyond, as errors grow with noise and blur: squared.
        if same and fault.excess <= math.sqrt(want / USUAL_WANT):
            continue
        if fault.code in (other.code, *EXPLAINED_BY.get(other.code, ())):
            return True
    return False


def balance_flags(balance: Balance) -> Iterable[Flag]:
    """What cannot be of a weighing; it says nothing against the photos."""
    return [
        Flag(code=f"balance-{flag.kind.replace(' ', '-')}", severity="note", sentence=flag.message)
        for flag in balance.flags
    ]
