"""What a calibrated lens is good for, in plain words."""

from dataclasses import dataclass

from ..inputs.lens import VERDICTS

GOOD, USABLE, NOT_USABLE = VERDICTS


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What a verdict rests on.

    ``tilt_deg`` is the largest angle between two boards; ``fold_percent`` how far out, on the way from the middle to
    the corner, the polynomial folds over, None where it does not.
    """

    photos: int
    rms_px: float
    coverage_percent: float
    reach_percent: float
    tilt_deg: float
    fold_percent: float | None
    worst_photo: str


@dataclass(frozen=True, slots=True)
class Limit:
    """Where a fact stops being good, and where it stops being usable."""

    good: float
    usable: float

    def grade(self, value: float) -> str:
        """Verdict on one fact; a larger value is a better one unless ``good`` is the smaller limit."""
        sign = 1 if self.good > self.usable else -1
        if sign * value >= sign * self.good:
            return GOOD
        return USABLE if sign * value >= sign * self.usable else NOT_USABLE


# Boards of 9 x 6 corners in simulated photos of 12 megapixels, corners off by 0.15 px, tell what each is worth:
# worst place of the picture after calibration, medians of six (the test of each in tests/camera/test_verdict.py).

#: 10 photos: 0.8 px; 5: 2.7; 3, the least that Zhang's method (IEEE PAMI 22 (2000) 1330) can do with: 3.3.
PHOTOS = Limit(10, 5)
#: Percent of the way from the middle to the corner. Corners out to 84: 0.4 px; to 79: 2.2; to 69: 3.8; to 58: 16.
#: Beyond them the polynomial is a guess.
REACH = Limit(80, 65)
#: Percent of the frame's cells; it goes with reach and photos, and 60 is what ten photos in all places have.
COVERAGE = Limit(60, 40)
#: Largest angle between boards. 17°: focal length off by 0.15 %; 9°: 0.5 %; 3°: 3 %. Parallel boards leave it open.
TILT = Limit(15, 5)
#: Corners off by 0.3 px leave 0.4 px and a worst place of 0.9 px; by 0.5 px 0.7 and 1.4; by 1 px 1.4 and 2.7. Where a
#: pixel is 0.2 mm of floor, a millimetre is 5 px.
RESIDUAL = Limit(0.5, 1.0)


def judge(facts: Facts) -> tuple[str, tuple[str, ...]]:
    """Return the verdict, one of "good", "usable" and "not usable", and a sentence for all that keeps it from good."""
    told = [
        (PHOTOS.grade(facts.photos), f"only {facts.photos} photos: take {PHOTOS.good:g} or more"),
        (
            REACH.grade(facts.reach_percent),
            f"corners reach {facts.reach_percent:.0f} % of the way from the middle to the photo's corners: the rim is "
            "not covered; hold the board into all four corners",
        ),
        (
            COVERAGE.grade(facts.coverage_percent),
            f"corners reached {facts.coverage_percent:.0f} % of the frame: hold the board everywhere in it",
        ),
        (
            TILT.grade(facts.tilt_deg),
            f"the boards are all parallel within {facts.tilt_deg:.0f} degrees: tilt the board, one way and another",
        ),
        (
            RESIDUAL.grade(facts.rms_px),
            f"the residual of {facts.rms_px:.2f} px is high, highest in {facts.worst_photo}: keep the board flat, the "
            "photos sharp, and check columns, rows and sides",
        ),
    ]
    if facts.fold_percent is not None:
        told.append(
            (
                NOT_USABLE,
                f"the lens folds over at {facts.fold_percent:.0f} % of the way from the middle to the photo's corners: "
                "hold the board into all four corners",
            )
        )
    worst = max((grade for grade, _ in told), key=VERDICTS.index)
    return worst, tuple(sentence for grade, sentence in told if grade != GOOD)
