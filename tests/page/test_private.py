import csv

from debriscount.page.private import Shown, cleaned, cleaned_table, photo_names

RECORD = {
    "photos": {
        "before": {"file": "IMG_20261123_141530.jpg", "taken": "2026-11-23T14:15:30"},
        "after": {"file": "IMG_20261123_141530.jpg.jpg", "taken": None},
        "blank": {"file": "floor \u202egpj.HEIC", "taken": "2026-11-23T14:01:00"},
    },
    "verdict": "Not fit to publish: IMG_20261123_141530.jpg is blurred.",
    "inputs": {"debris": [{"calibration": {"date": "2026-11-20T08:00:00", "portions": [{"photos": ["IMG_1.jpg"]}]}}]},
}


def test_photos_go_out_under_their_shots_names() -> None:
    names = photo_names(RECORD, Shown())
    assert list(names.values()) == ["before.jpg", "after.jpg", "blank.heic"]
    out = cleaned(RECORD, names, Shown())
    assert out["verdict"] == "Not fit to publish: before.jpg is blurred."
    assert [photo["file"] for photo in out["photos"].values()] == ["before.jpg", "after.jpg", "blank.heic"]
    assert "IMG" not in str(out)


def test_files_keep_their_names_if_asked_but_for_marks_that_mislead() -> None:
    out = cleaned(RECORD, photo_names(RECORD, Shown(file_names=True)), Shown(file_names=True))
    assert out["photos"]["before"]["file"] == "IMG_20261123_141530.jpg"
    assert out["photos"]["blank"]["file"] == "floor \ufffdgpj.HEIC"


def test_times_are_given_to_the_day_unless_asked() -> None:
    days = cleaned(RECORD, {}, Shown())
    assert [photo["taken"] for photo in days["photos"].values()] == ["2026-11-23", None, "2026-11-23"]
    assert days["inputs"]["debris"][0]["calibration"] == {"date": "2026-11-20", "portions": []}
    assert cleaned(RECORD, {}, Shown(times=True))["photos"]["before"]["taken"] == "2026-11-23T14:15:30"


def test_tables_hold_no_formula_and_no_file_name() -> None:
    table = 'kind,why\n"=HYPERLINK(""x"")",IMG_1.jpg is blurred\n-3.5,"a\u202eb, c"\n'
    rows = list(csv.reader(cleaned_table(table, {"IMG_1.jpg": "before.jpg"}).splitlines()))
    assert rows == [
        ["kind", "why"],
        ['\'=HYPERLINK("x")', "before.jpg is blurred"],
        ["-3.5", "a\ufffdb, c"],
    ]
