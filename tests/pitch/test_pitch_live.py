"""A reading that refines while the note rings."""

from __future__ import annotations

import numpy as np
import pytest

from helpers.notes import RATE_HZ, Strung, make_note
from pitchcheck.clip import Clip
from pitchcheck.pitch.live import LiveNote, Refined
from pitchcheck.pitch.plucks import find_plucks
from pitchcheck.pitch.read_note import read_note

PIECE = 480  # samples: 10 ms, a usual block of a sound card
FIRST_BY_S = 0.25
UNTOLD_CENTS = 0.02  # a string's own scatter off the law below this is not told from none, early or late
FINAL_BY_S = 2.02  # 2 s and the piece in which they end


def listen(clip: Clip, *, expected_hz: float) -> list[Refined]:
    live = LiveNote(rate_hz=RATE_HZ, expected_hz=expected_hz)
    pieces = np.split(clip.samples, range(PIECE, clip.samples.size, PIECE))
    return [step for piece in pieces if (step := live.hear(piece)) is not None]


@pytest.mark.parametrize("hz", [30.87, 82.4, 329.6])
def test_a_first_value_soon_and_a_final_one(hz: float) -> None:
    steps = listen(
        make_note(np.random.default_rng(1), Strung(hz, seconds=2.6, lead_s=0.4)).clip, expected_hz=hz
    )
    assert steps[0].sounded_s <= FIRST_BY_S
    assert steps[-1].final
    assert steps[-1].sounded_s <= FINAL_BY_S
    assert [s.final for s in steps[:-1]] == [False] * (len(steps) - 1)
    assert steps[-1].reading.sd_cents < max(steps[0].reading.sd_cents, UNTOLD_CENTS)


def test_the_same_answer_as_from_a_recording() -> None:
    clip = make_note(np.random.default_rng(2), Strung(110.0, seconds=2.6, lead_s=0.4)).clip
    final = listen(clip, expected_hz=110.0)[-1].reading
    onset_s = find_plucks(clip)[0].onset_s
    assert final == read_note(clip.between(0.0, onset_s + 2.0), expected_hz=110.0)


def test_silence_gives_nothing() -> None:
    assert listen(Clip(np.zeros(96_000), RATE_HZ), expected_hz=110.0) == []
