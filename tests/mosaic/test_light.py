import numpy as np

from debriscount.mosaic.light import match_light


def test_photos_of_other_exposure_and_falloff_are_made_alike() -> None:
    rng = np.random.default_rng(0)
    x, y = np.arange(0, 400.0, 2), np.arange(0, 200.0, 2)
    floor = rng.uniform(0.2, 0.4, (len(y), len(x), 1)) * np.array([1.0, 0.9, 0.8])
    left, right = x[None, :] < 250, x[None, :] > 150
    falls = 1 - 0.2 * ((x[None, :] - 120) / 200) ** 2
    views = [(floor * falls[..., None]).astype(np.float32), (1.3 * floor).astype(np.float32)]
    grain = (slice(40, 60), slice(80, 100))
    views[1][grain] = 0.05  # seen by one alone
    seen = [np.broadcast_to(left, floor.shape[:2]), np.broadcast_to(right, floor.shape[:2])]
    gains = match_light(views, seen, x, y)
    first, second = (view * gain.at(x[None, :], y[:, None]) for view, gain in zip(views, gains, strict=True))
    both = seen[0] & seen[1]
    both[grain] = False
    assert np.abs(np.log(second[both] / first[both])).max() < 0.02


def test_photos_apart_keep_their_light() -> None:
    x = y = np.arange(10.0)
    views = [np.full((10, 10, 3), 0.3, np.float32)] * 2
    seen = [np.broadcast_to(x[None, :] < 4, (10, 10)), np.broadcast_to(x[None, :] > 6, (10, 10))]
    for gain in match_light(views, seen, x, y):
        assert np.allclose(gain.at(x[None, :], y[:, None]), 1)
