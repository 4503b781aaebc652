import weakref

import numpy as np
import pytest

from debriscount.figures.handed_on import HandedOn


def test_views_are_let_go_of_as_they_are_taken_but_for_one() -> None:
    views = {name: np.full((2, 2, 3), n, np.float32) for n, name in enumerate(("blank", "before", "after"))}
    watched = {name: weakref.ref(view) for name, view in views.items()}
    handed = HandedOn(views, "blank")
    del views
    taken = []
    for name, view in handed.items():
        taken.append((name, float(view[0, 0, 0])))
        del view
        assert (watched[name]() is None) == (name != "blank")
    assert taken == [("blank", 0.0), ("before", 1.0), ("after", 2.0)]
    assert "before" in handed
    assert "after2" not in handed
    assert (len(handed), list(handed)) == (3, ["blank", "before", "after"])
    assert handed["blank"] is watched["blank"]()
    with pytest.raises(KeyError):
        handed["before"]
