"""A second note beside the one read: which peaks are whose, and at which strength it counts."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pitchcheck.pitch.peaks import Peaks
from pitchcheck.pitch.second_note import belongs, on_mains, second_note

K = np.arange(1.0, 9.0)


def peaks(*series: tuple[np.ndarray, np.ndarray | float], width_hz: float = 0.5) -> Peaks:
    hz = np.concatenate([one for one, _ in series])
    level = np.concatenate([np.broadcast_to(a, one.shape) for one, a in series])
    order = np.argsort(hz)
    return Peaks(hz[order], level[order], width_hz)


@pytest.mark.parametrize("inharmonicity", [0.0, 4e-4])
def test_a_peak_belongs_that_lies_near_a_partial(inharmonicity: float) -> None:
    # Within 0.6 % of its own pitch and a peak's width.
    at = 7 * 110.0 * math.sqrt(1 + inharmonicity * 49)
    allowed = 0.006 * at + 0.5
    heard = Peaks(
        np.array([at - 1.05 * allowed, at - 0.95 * allowed, at + 0.95 * allowed, at + 1.05 * allowed]),
        np.ones(4),
        0.5,
    )
    assert belongs(heard, hz=110.0, inharmonicity=inharmonicity).tolist() == [False, True, True, False]
    low = Peaks(np.array([40.0, 109.0, 111.0]), np.ones(3), 0.5)  # nothing is below the fundamental
    assert belongs(low, hz=110.0, inharmonicity=0.0).tolist() == [False, True, True]


def test_stiffness_beyond_any_string_is_not_believed() -> None:
    at = 9 * 110.0 * math.sqrt(1 + 4e-3 * 81)
    heard = Peaks(np.array([9 * 110.0, at]), np.ones(2), 0.5)
    assert belongs(heard, hz=110.0, inharmonicity=1e-2).tolist()[1]
    assert belongs(heard, hz=110.0, inharmonicity=-1e-2).tolist()[0]


def test_hum_lies_within_a_hertz_and_a_half_of_a_harmonic_of_the_mains() -> None:
    hz = np.array([51.4, 51.7, 118.6, 118.3, 150.0, 251.3, 251.8, 178.7])
    assert on_mains(Peaks(hz, np.ones(8), 0.5)).tolist() == [
        True,
        False,
        True,
        False,
        True,
        True,
        False,
        True,
    ]


def test_another_series_is_found_with_its_strength() -> None:
    heard = peaks((110.0 * K, 1 / K), (139.0 * K, 0.4 / K))
    other = second_note(heard, hz=110.0, inharmonicity=0.0)
    assert other is not None
    assert other.hz == pytest.approx(139.0, rel=1e-3)
    assert other.share == pytest.approx(0.4)


def test_one_note_alone_has_no_other() -> None:
    assert second_note(peaks((110.0 * K, 1 / K)), hz=110.0, inharmonicity=0.0) is None
    assert second_note(Peaks(np.zeros(0), np.zeros(0), 0.5), hz=110.0, inharmonicity=0.0) is None
    assert (
        second_note(peaks((139.0 * K, 1.0)), hz=1234.5, inharmonicity=0.0) is None
    )  # none is the note's own


@pytest.mark.parametrize("mains_hz", [49.88, 50.0, 50.12, 59.9])
def test_hum_is_no_second_note_however_the_mains_wander(mains_hz: float) -> None:
    heard = peaks((196.0 * K, 1 / K), (mains_hz * np.arange(1.0, 13.0), 0.2), width_hz=4.0)
    assert second_note(heard, hz=196.0, inharmonicity=0.0) is None


@pytest.mark.parametrize(("count", "taken"), [(3, True), (2, False)])
def test_three_peaks_make_a_note(count: int, taken: bool) -> None:
    heard = peaks((110.0 * K, 1 / K), (139.0 * K[:count], 0.4))
    assert (second_note(heard, hz=110.0, inharmonicity=0.0) is not None) is taken


@pytest.mark.parametrize(("share", "taken"), [(0.056, True), (0.044, False)])
def test_faint_peaks_are_not_looked_at(share: float, taken: bool) -> None:
    heard = peaks((110.0 * K, 1.0), (139.0 * K, share))
    assert (second_note(heard, hz=110.0, inharmonicity=0.0) is not None) is taken


@pytest.mark.parametrize(("off", "taken"), [(0.031, False), (0.039, True)])
def test_a_note_split_by_beats_is_one(off: float, taken: bool) -> None:
    heard = peaks((110.0 * K, 1.0), (110.0 * K * math.exp(off), 0.4), width_hz=0.1)
    assert (second_note(heard, hz=110.0, inharmonicity=0.0) is not None) is taken
