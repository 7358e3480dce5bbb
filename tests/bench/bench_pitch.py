"""Accuracy of the pitch reading beside general estimators and the Cramer-Rao bound.

``python tests/bench/bench_pitch.py [count] [folder] [--write] [--check]`` writes the table to standard output
and the picture to docs/pictures/accuracy-pitch.png: so many made pairs a row, and a folder laid out like
fixtures/notes. With ``--write`` the table goes between its marks in docs/accuracy-pitch.md, for another
folder than the project's that of all recorded pairs. ``--check`` ends with status 1 where the document says
otherwise by more than a unit of the last place.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from helpers import marks, notes
from helpers.notes import Pair, Strung
from pitchcheck.clip import Clip
from pitchcheck.pitch.read_note import read_note
from pitchcheck.pitch.reading import Reading, Unreadable
from pitchcheck.pitch.string_group import read_group

SEED = 20
PICTURE = Path(__file__).parents[2] / "docs" / "pictures" / "accuracy-pitch.png"
Estimator = Callable[[Pair], tuple[float, float]]  # the interval and its standard uncertainty [cent]


def together(pair: Pair) -> tuple[float, float]:
    return _interval(read_group([pair.lower, pair.upper], expected_hz=pair.expected_hz))


def one_by_one(pair: Pair) -> tuple[float, float]:
    found: list[Reading | Unreadable] = []
    for clip, hz in zip((pair.lower, pair.upper), pair.expected_hz, strict=True):
        try:
            found.append(read_note(clip, expected_hz=hz))
        except Unreadable as refusal:
            found.append(refusal)
    return _interval(found)


def _interval(found: Sequence[Reading | Unreadable]) -> tuple[float, float]:
    low, high = found
    if isinstance(low, Unreadable) or isinstance(high, Unreadable):
        return float("nan"), float("nan")
    return float(1200 * np.log2(high.hz / low.hz)), float(np.hypot(low.sd_cents, high.sd_cents))


def long_fft(pair: Pair) -> tuple[float, float]:
    """Peak of the padded spectrum near the expected fundamental, by a parabola (scipy)."""
    return _by(pair, _fft_peak)


def yin(pair: Pair) -> tuple[float, float]:
    """Median of librosa's YIN (de Cheveigne and Kawahara 2002) over the note."""
    return _by(pair, _yin)


def _by(pair: Pair, method: Callable[[Clip, float], float]) -> tuple[float, float]:
    low, high = (method(c, hz) for c, hz in zip((pair.lower, pair.upper), pair.expected_hz, strict=True))
    return float(1200 * np.log2(high / low)), float("nan")


def _fft_peak(clip: Clip, expected_hz: float) -> float:
    from scipy import fft

    length = fft.next_fast_len(8 * clip.samples.size, real=True)
    level = np.log(np.abs(fft.rfft(clip.samples * np.hanning(clip.samples.size), length)) + 1e-12)
    bin_hz = clip.rate_hz / length
    near = np.arange(int(expected_hz * 0.96 / bin_hz), int(expected_hz * 1.04 / bin_hz) + 2)
    top = int(near[np.argmax(level[near])])
    left, centre, right = level[top - 1 : top + 2]
    return float((top + 0.5 * (left - right) / (left - 2 * centre + right)) * bin_hz)


def _yin(clip: Clip, expected_hz: float) -> float:
    import librosa

    frame = int(2 ** np.ceil(np.log2(4 * clip.rate_hz / expected_hz)))
    hz = librosa.yin(
        clip.samples, fmin=expected_hz * 0.8, fmax=expected_hz * 1.25, sr=clip.rate_hz, frame_length=frame
    )
    return float(np.median(hz))


ESTIMATORS: dict[str, Estimator] = {
    "together": together,
    "one by one": one_by_one,
    "long FFT": long_fft,
    "YIN": yin,
}
LENGTHS_S = (0.3, 0.5, 1.0, 2.0)
BASS_HZ = (31.0, 110.0)
ALL_HZ = (41.0, 660.0)


def made(kind: str, count: int, *, seed: int = SEED, **fixed: object) -> Iterator[Pair]:
    """Pairs of made notes over lengths, levels, pitches and stiffnesses."""
    rng = np.random.default_rng(seed)
    lows = BASS_HZ if kind == "weak fundamental" else ALL_HZ
    for i in range(count):
        hz = float(np.exp(rng.uniform(*np.log(lows))))
        seconds = max(LENGTHS_S[i % 4], 12 / hz)
        strung = Strung(
            hz=hz,
            inharmonicity=float(10 ** rng.uniform(-5, -3.7)),
            seconds=seconds,
            snr_db=float(rng.choice([20.0, 30.0, 40.0])),
            decay_s=float(rng.uniform(0.4, 1.5)),
            pluck=float(rng.uniform(0.1, 0.3)),
        )
        strung = replace(strung, **fixed)
        if kind == "weak fundamental":
            strung = replace(strung, fundamental_db=float(rng.uniform(30, 60)))
        if kind == "glide":
            strung = replace(strung, glide_cents=float(rng.uniform(0, 10)))
        if kind == "beating":
            beat, beat_hz = rng.uniform(0.2, 0.5), rng.uniform(0.3, 1.5)
            strung = replace(strung, beat=float(beat), beat_hz=float(beat_hz))
        ratio = 2.0 if kind == "fret 12" else float(2 ** (1 / 12 + rng.uniform(-30, 30) / 1200))
        yield notes.made_pair(rng, kind, strung, ratio=ratio)


def recorded(kind: str, folder: Path) -> Iterator[Pair]:
    """Recorded pairs at all their lengths, as they are and at 20 dB."""
    rng = np.random.default_rng(SEED)
    for pair in notes.recorded_pairs(folder):
        full = min(pair.lower.duration_s, pair.upper.duration_s)
        for seconds in LENGTHS_S:
            if seconds > 1.2 * full or (pair.kind == "real-glide" and seconds < 1.0):
                continue
            for snr_db in (None, 20.0):
                base = notes.octave_pair(rng, pair) if kind == "recorded octave" else pair
                if kind == "recorded octave" and (seconds > 0.6 * full or pair.kind == "real-glide"):
                    continue
                if kind in ("recorded octave", _KINDS.get(pair.kind)):
                    yield replace(notes.vary(rng, base, seconds=seconds, snr_db=snr_db), kind=kind)


_KINDS = {"real": "recorded", "real-shaped": "recorded, shaped", "real-glide": "recorded, glide"}


@dataclass(frozen=True)
class Score:
    """Errors of one estimator over one kind of pair; a refusal counts as infinite."""

    errors: np.ndarray
    sds: np.ndarray
    bound: float
    seconds: float

    @property
    def median(self) -> float:
        return float(np.median(np.abs(self.errors)))

    @property
    def high(self) -> float:
        """95th percentile."""
        ranked = np.sort(np.abs(self.errors))
        return float(ranked[min(ranked.size - 1, int(np.ceil(0.95 * ranked.size)) - 1)])

    @property
    def normalised(self) -> np.ndarray:
        good = np.isfinite(self.errors)
        return np.asarray(self.errors[good] / self.sds[good])


def score(estimator: Estimator, pairs: Sequence[Pair]) -> Score:
    errors, sds = [], []
    start = time.process_time()
    for pair in pairs:
        cents, sd = estimator(pair)
        errors.append(cents - pair.cents if np.isfinite(cents) else np.inf)
        sds.append(sd)
    spent = (time.process_time() - start) / len(pairs)
    return Score(np.array(errors), np.array(sds), float(np.median([p.bound_cents for p in pairs])), spent)


KINDS = (
    *("recorded", "recorded, shaped", "recorded, glide", "recorded octave"),
    *("plain", "fret 12", "weak fundamental", "beating", "glide", "hum", "off the law by 1.3 cents"),
)


def pairs_of(kind: str, count: int, folder: Path) -> list[Pair]:
    """Pairs of one kind: as many as there are of those recorded, so many of those made."""
    if kind.startswith("recorded"):
        return list(recorded(kind, folder))
    if kind == "hum":
        return list(made("hum", count, hum=0.03))
    if kind == "off the law by 1.3 cents":
        return list(made("scatter", count, scatter_cents=1.3))
    return list(made(kind, count))


def row(kind: str, pairs: Sequence[Pair], scores: dict[str, Score]) -> str:
    """One line of the table."""
    cells = [f"{s.median:.3f} / {s.high:.2f}" for s in scores.values()]
    ours = scores["together"]
    z = ours.normalised
    bound = f"{0.6745 * ours.bound:.4f}" if ours.bound else ""
    calm = f"{np.std(z):.2f} | {np.mean(np.abs(z) > 4):.3f} | {np.mean(~np.isfinite(ours.errors)):.3f}"
    return f"| {kind} | {len(pairs)} | " + " | ".join(cells) + f" | {bound} | {calm} |"


def main(count: int, folder: Path, *, write: bool, check: bool = False) -> None:
    lines = ["| pairs | n | " + " | ".join(ESTIMATORS) + " | bound | spread | beyond 4 sd | refused |"]
    lines.append("| --- | --- | " + "--- | " * (len(ESTIMATORS) + 3) + "--- |")
    own = folder == notes.NOTES
    table: dict[str, dict[str, Score]] = {}
    for kind in KINDS:
        pairs = pairs_of(kind, count, folder)
        if not own and not kind.startswith("recorded"):
            break
        table[kind] = {name: score(method, pairs) for name, method in ESTIMATORS.items()}
        lines.append(row(kind, pairs, table[kind]))
        print(lines[-1], flush=True)
    name, text = "pitch" if own else "pitch-all", "\n".join(lines) + "\n"
    if check and not marks.agree(marks.cut("accuracy-pitch.md", name)[1], text):
        sys.exit(f"docs/accuracy-pitch.md, {name}: the document says otherwise")
    if write:
        marks.write("accuracy-pitch.md", name, text)
    if own:
        draw(table)


def draw(table: dict[str, dict[str, Score]]) -> None:
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(figsize=(9, 5), layout="constrained")
    place = np.arange(len(table))
    for mark, name in zip("os^x", ESTIMATORS, strict=True):
        axes.plot(place, [row[name].median for row in table.values()], mark, label=name)
    axes.plot(
        place, [0.6745 * row["together"].bound or np.nan for row in table.values()], "k_", label="bound"
    )
    axes.set_yscale("log")
    axes.set_xticks(place, table, rotation=35, ha="right")
    axes.set_ylabel("median error of an interval [cent]")
    axes.legend()
    PICTURE.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(PICTURE, dpi=80)


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if not word.startswith("--")]
    main(
        int(words[0]) if words else 40,
        Path(words[1]) if len(words) > 1 else notes.NOTES,
        write="--write" in sys.argv,
        check="--check" in sys.argv,
    )
