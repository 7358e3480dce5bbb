"""How well memos are labelled: sixty players with phones, seeds that nothing was developed on.

``python tests/bench/bench_memo.py [count] [first seed] [hard]`` writes the table; ``hard`` is of players and
phones whose manners vary much more (``helpers/memo_manner.py``). A pluck is right
when a sound within 0.12 s of it was labelled, for sure, with its string, stop and fret. A memo is mislabelled
in silence when it was not refused and more than 2 % of its labels are wrong or stand on no pluck.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from helpers.memo_player import Memo, Wish, make_memo
from pitchcheck.audio.recording import read_recording
from pitchcheck.memo.labelling import label_sounds
from pitchcheck.memo.labels import Label
from pitchcheck.memo.refusal import find_refusal
from pitchcheck.memo.sounds import find_sounds
from pitchcheck.takes import Position

# seen in development: 7, 1000-1039, 5000-5009, 6000-6026, 8000-8159, 8400-8403, 8500-8505, 8600-8623,
# 8700-8759, 9000-9059, 9100-9113, 9200-9239; hard ones 3000-3023, 3112-3123
FIRST_SEED = 9300
COUNT = 60
NEAR_S = 0.12  # codecs shift sound by up to 0.05 s
GOOD_SHARE = 0.98
WRONG_SHARE = 0.02
BELIEFS = (0.0, 0.8, 0.93, 0.98, 0.995, 1.01)  # edges of the table of how often labels are right


@dataclass(frozen=True)
class Score:
    """What became of one memo."""

    memo: Memo
    plucks: int
    right: int
    wrong: int
    refused: bool
    seconds: float
    length_s: float
    beliefs: tuple[tuple[float, bool], ...]  # of every label, and whether it is right

    @property
    def good(self) -> bool:
        return not self.refused and self.right >= GOOD_SHARE * self.plucks

    @property
    def silent(self) -> bool:
        return not self.refused and self.wrong > WRONG_SHARE * self.plucks


def score(seed: int, folder: Path, *, hard: bool = False) -> Score:
    """Make a memo, write it with its encoder, and label what comes back."""
    memo = make_memo(seed, Wish(hard=hard))
    path = memo.write(folder)
    start = time.perf_counter()
    recording = read_recording(path)
    sounds = find_sounds(recording.samples, rate_hz=recording.rate_hz)
    labelling = label_sounds(sounds, instrument=memo.instrument)
    seconds = time.perf_counter() - start
    path.unlink()
    right, wrong = count(memo, labelling.labels)
    beliefs = tuple(
        (label.belief, label.position == true)
        for label, true in zip(labelling.labels, truth_of(memo, labelling.labels), strict=True)
        if label.position is not None
    )
    plucks = sum(h.what == "pluck" for h in memo.happenings)
    refused = find_refusal(labelling) is not None
    return Score(memo, plucks, right, wrong, refused, seconds, recording.duration_s, beliefs)


def truth_of(memo: Memo, labels: Sequence[Label]) -> list[Position | None]:
    """Return the place that sounded where each label stands."""
    onsets = np.array([label.sound.onset_s for label in labels])
    places: list[Position | None] = [None] * len(labels)
    for happening in memo.happenings:
        if happening.position is not None and onsets.size:
            nearest = int(np.argmin(np.abs(onsets - happening.time_s)))
            if abs(onsets[nearest] - happening.time_s) <= NEAR_S:
                places[nearest] = happening.position
    return places


def count(memo: Memo, labels: Sequence[Label]) -> tuple[int, int]:
    """Return how many plucks are labelled right, and how many labels are wrong or stand on no pluck."""
    onsets = np.array([label.sound.onset_s for label in labels])
    taken: set[int] = set()
    right = wrong = 0
    for happening in memo.happenings:
        if happening.position is None or onsets.size == 0:
            continue
        nearest = int(np.argmin(np.abs(onsets - happening.time_s)))
        if abs(onsets[nearest] - happening.time_s) > NEAR_S:
            continue
        taken.add(nearest)
        label = labels[nearest]
        if label.sure and label.position != happening.position:
            wrong += 1
        elif label.sure and happening.what == "pluck":
            right += 1
    return right, wrong + sum(label.sure for i, label in enumerate(labels) if i not in taken)


def main() -> None:
    number = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    first = int(sys.argv[2]) if len(sys.argv) > 2 else FIRST_SEED
    scores = []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + number):
            one = score(seed, Path(folder), hard=sys.argv[3:] == ["hard"])
            scores.append(replace(one, memo=replace(one.memo, samples=np.zeros(0))))
            memo = one.memo
            word = "refused" if one.refused else "good" if one.good else "below 98 %"
            print(
                f"{seed} {memo.kind}, {memo.course}, {memo.encoder}, {memo.snr_db:.0f} dB, "
                f"{memo.offset_cents:+.0f} cents: {one.right} of {one.plucks}, {one.wrong} wrong, {word}"
                f"{', MISLABELLED' if one.silent else ''}",
                file=sys.stderr,
                flush=True,
            )
    print("| memos | plucks | 98 % right or more | labelled right | refused | mislabelled in silence |")
    print("| --- | --- | --- | --- | --- | --- |")
    plucks, right = sum(s.plucks for s in scores), sum(s.right for s in scores)
    print(
        f"| {number} | {plucks} | {sum(s.good for s in scores)} | {100 * right / plucks:.2f} % "
        f"| {sum(s.refused for s in scores)} | {sum(s.silent for s in scores)} |"
    )
    print("\n| believed | labels | wrong |\n| --- | --- | --- |")
    beliefs = [pair for s in scores for pair in s.beliefs]
    for low, high in pairwise(BELIEFS):
        of = [right for belief, right in beliefs if low <= belief < high]
        print(f"| {low} to {min(high, 1.0)} | {len(of)} | {of.count(False)} |")
    pace = sum(s.seconds for s in scores) / sum(s.length_s for s in scores)
    print(f"\nLabelling took {pace:.3f} s a second of memo, on one core.")


if __name__ == "__main__":
    main()
