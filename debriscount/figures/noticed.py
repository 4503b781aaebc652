"""Everything that was noticed about a run before its figures, as flags: of photo files, shots and weighings."""

from collections.abc import Iterable, Mapping, Sequence

from ..fitness.allowance import TOGETHER
from ..fitness.causes import EXPLAINED_BY, causes
from ..fitness.records import USUAL_WANT, Finding, Fitness
from ..fitness.shot import check_located
from ..flags import Flag, Severity
from ..geometry.locate import LocatedShots
from ..inputs.debris import DebrisKind
from ..inputs.patch import Patch
from ..photo.read import Photo
from ..scale.balance import Balance
from .trust import SOUND

#: Accuracies, percentage points, below the usual, and what a fault means that is one at them too. At that of a sound
#: figure it makes figures doubtful; where a fault alone may cost all that a sound figure may be off by (the check
#: shares that among `TOGETHER` independent ones), they are not fit to publish.
WANTS: tuple[tuple[float, Severity], ...] = ((SOUND * TOGETHER**0.5, "unfit"), (SOUND, "doubtful"))
#: Fine grains are measured too small in every shot alike, which cancels in a pickup; those too fine for that are told
#: by `checks.kind_flags`.
CANCELS = ("too-coarse",)


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

    def checked(want: float) -> dict[str, Fitness]:
        return check_located(photos, located, patch, kinds, want)

    usual = checked(USUAL_WANT)
    if all(one.fit for one in usual.values()):
        return []
    return fault_flags(usual, {severity: checked(want) for want, severity in WANTS})


def fault_flags(usual: Mapping[str, Fitness], by_severity: Mapping[Severity, Mapping[str, Fitness]]) -> list[Flag]:
    """Flags for the faults of shots checked together, the first of which all others were held against.

    Parameters
    ----------
    usual : mapping of str to Fitness
        Of every shot, at the usual accuracy.
    by_severity : mapping of severity to mapping of str to Fitness
        The same at the accuracies whose faults are of that severity, the worst first.

    Returns
    -------
    list of Flag
        A note unless the fault, or a symptom of it, is one at less accuracy too. Of the shots that share a fault all
        say the same: how far beyond its limit it is in the worst of them.
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
    flags: dict[tuple[str, str], Flag] = {}
    for name, fault in found:
        severity, sentence = _severity(name, fault, by_severity), worst[fault.code].sentence
        code, shot = fault.code, name
        if code == "other-blurred":
            code, shot = "blurred", first
            sentence = f"edges are spread over {fault.value:.3g} px, more than in {name}. Retake it, if it can be."
        flags.setdefault((code, shot), Flag(code=code, severity=severity, sentence=sentence, shot=shot))
    return list(flags.values())


def _severity(name: str, fault: Finding, by_severity: Mapping[Severity, Mapping[str, Fitness]]) -> Severity:
    if fault.code in CANCELS:
        return "note"
    for severity, checked in by_severity.items():
        for other in checked[name].faults:
            if fault.code in (other.code, *EXPLAINED_BY.get(other.code, ())):
                # A limit that is the same for any accuracy is how far was measured, not what spoils a figure.
                fixed = other.name == fault.name and other.limit == fault.limit
                return "doubtful" if fixed else severity
    return "note"


def balance_flags(balance: Balance) -> Iterable[Flag]:
    """What cannot be of a weighing; it says nothing against the photos."""
    return [
        Flag(code=f"balance-{flag.kind.replace(' ', '-')}", severity="note", sentence=flag.message)
        for flag in balance.flags
    ]
