import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from debriscount.campaign.changes import withdraw
from debriscount.campaign.inbox import InboxPhoto, choose_shots, look_into
from debriscount.campaign.read_runs import read_runs
from debriscount.campaign.records import FiledRun
from debriscount.errors import CampaignError


def photos(*minutes: int, by_camera: bool = True) -> list[InboxPhoto]:
    return [
        InboxPhoto(
            path=Path(f"{minute}.jpg"),
            sha256=f"{minute:064d}",
            taken=f"2026-11-01T10:{minute:02d}:00",
            by_camera=by_camera,
        )
        for minute in minutes
    ]


def chosen(found: list[InboxPhoto], passes: int = 1, *, shared: bool = False) -> dict[str, str]:
    return {
        shot: photo.path.name for shot, photo in choose_shots(found, passes, (), shared_blank=shared).photos.items()
    }


def test_shots_come_in_order_of_time() -> None:
    assert chosen(photos(1, 2, 3)) == {"blank": "1.jpg", "before": "2.jpg", "after": "3.jpg"}
    assert chosen(photos(1, 2)) == {"before": "1.jpg", "after": "2.jpg"}
    assert chosen(photos(1, 2, 3, 4), passes=2) == {
        "blank": "1.jpg",
        "before": "2.jpg",
        "after": "3.jpg",
        "after2": "4.jpg",
    }


def test_with_a_shared_blank_the_newest_are_before_and_after() -> None:
    assert chosen(photos(1, 2, 3), shared=True) == {"before": "2.jpg", "after": "3.jpg"}


def test_older_photos_are_passed_over_and_each_choice_has_its_reason() -> None:
    found = choose_shots(photos(1, 2, 3, 4), 1, (), shared_blank=False)
    assert found.passed_over == ("1.jpg is passed over: it is older, taken 2026-11-01 10:01:00",)
    assert found.reasons == (
        "blank: 2.jpg, taken 2026-11-01 10:02:00, the last one before the shots of the run",
        "before: 3.jpg, taken 2026-11-01 10:03:00, the first of the run's shots",
        "after: 4.jpg, taken 2026-11-01 10:04:00, next after that",
    )


def test_it_is_said_where_the_disk_stands_in_for_the_camera() -> None:
    found = choose_shots(photos(1, 2, by_camera=False), 1, (), shared_blank=False)
    assert "the time of their files stands for it" in found.reasons[-1]


def test_copies_without_a_time_have_no_order() -> None:
    """Files copied together carry the time of the copy, in the order of their names."""
    first, second, third = photos(1, 2, 3, by_camera=False)
    copied = replace(second, taken="2026-11-01T10:01:04", path=Path("a.jpg"))
    with pytest.raises(
        CampaignError, match=r"1\.jpg and a\.jpg do not tell which was taken first.* 4 s apart, as copies"
    ):
        choose_shots([first, copied], 1, (), shared_blank=False)
    late = replace(copied, taken="2026-11-01T10:01:05")
    assert chosen([first, late, third]) == {"blank": "1.jpg", "before": "a.jpg", "after": "3.jpg"}
    by_camera = [replace(photo, by_camera=True) for photo in (first, copied)]
    assert chosen(by_camera) == {"before": "1.jpg", "after": "a.jpg"}


def test_too_few_photos_are_refused() -> None:
    with pytest.raises(CampaignError, match=r"must hold 2 photos .* \(before and after\), it has 1.jpg"):
        choose_shots(photos(1), 1, (), shared_blank=False)
    with pytest.raises(CampaignError, match=r"must hold 3 photos .* \(before and 2 after\), it has none"):
        choose_shots([], 2, (), shared_blank=False)


def test_photos_of_a_run_and_copies_are_passed_over(
    add: Callable[..., FiledRun], home: Path, photo: Callable[..., Path]
) -> None:
    run = add(1)
    for name, number, minute in (("old.jpg", 3, 1), ("b.jpg", 50, 2), ("b-copy.jpg", 50, 3), ("c.jpg", 51, 4)):
        os.utime(photo(name, number, None, home / "inbox"), (1_700_000_000 + 60 * minute,) * 2)
    found, faults = look_into(home / "inbox")
    assert not faults
    shots = choose_shots(found, 1, (run,), shared_blank=True)
    assert shots.passed_over == ("old.jpg is passed over: run 1 has it already",)
    assert len({one.sha256 for one in shots.photos.values()}) == 2
    with pytest.raises(CampaignError, match=r"it has none, besides 1 that are in runs already\. Copy"):
        choose_shots(found[:1], 1, (run,), shared_blank=True)


def test_photos_of_a_withdrawn_run_may_be_filed_again(
    add: Callable[..., FiledRun], home: Path, photo: Callable[..., Path]
) -> None:
    add(1)
    withdraw(home, 1, "wrong order")
    for name, number in (("b.jpg", 3), ("a.jpg", 4)):  # those of run 1
        os.utime(photo(name, number, None, home / "inbox"), (1_700_000_000 + 60 * number,) * 2)
    found, _ = look_into(home / "inbox")
    runs = read_runs(home).runs
    filed = {one.sha256 for one in runs[0].record.photos.values()}
    shots = choose_shots(found, 1, runs, shared_blank=True)
    assert {one.sha256 for one in shots.photos.values()} < filed
    assert shots.photos["before"].path.name == "b.jpg"


def test_what_is_no_photo_is_named(home: Path) -> None:
    (home / "inbox" / "a.jpg").write_text("text")
    (home / "inbox" / "b.txt").write_text("text")
    found, faults = look_into(home / "inbox")
    assert found == ()
    assert len(faults) == 1
    assert faults[0].startswith("a.jpg is left out: ")
