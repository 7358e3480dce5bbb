"""What lossy sound costs a pitch: simulated notes of three instruments through the encoders of phones.

``python tests/bench/bench_codecs.py`` writes the table. The notes of one string are read together, as
``pitchcheck measure`` reads them; every codec is held against the same notes without loss.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np

from helpers.codecs import PHONE, encode
from helpers.memo_player import RATE_HZ, random_instrument, random_truth
from pitchcheck.audio.coding import loss_sd_cents
from pitchcheck.audio.recording import read_recording
from pitchcheck.pitch.reading import Reading
from pitchcheck.pitch.string_group import read_group
from pitchcheck.simulate.body import random_body
from pitchcheck.simulate.player import Hand, Played, play
from pitchcheck.simulate.room import Room
from pitchcheck.simulate.voice import Voice, sound_of
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray

SEED = 15
STRINGS = {"electric": (1, 3, 5), "acoustic": (2, 4, 6), "tenor ukulele": (1, 3, 4)}
COURSE = ((Stop.OPEN, None), (Stop.PRESS, 1), (Stop.PRESS, 2), (Stop.OPEN, None)) * 2
CODECS = ("wav", "mp3 128k", "m4a 64k", "opus 32k", "opus 16k", "m4a 32k", "3gp amr")
LONG_S = 2.2


def main() -> None:
    rng = np.random.default_rng(SEED)
    errors: dict[str, list[FloatArray]] = {name: [] for name in CODECS}
    own: dict[str, list[FloatArray]] = {name: [] for name in CODECS}
    loss: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        for kind, numbers in STRINGS.items():
            instrument = random_instrument(rng, kind)
            truth = random_truth(rng, instrument)
            voice = Voice(random_body(rng, pull_cents=1.0), Room(), RATE_HZ, LONG_S)
            for number in numbers:
                places = [Position(number, *place) for place in COURSE]
                notes = play(rng, truth=truth, hand=Hand(), positions=places)
                sounds = [
                    sound_of(rng, played=n, instrument=instrument, truth=truth, voice=voice).samples
                    for n in notes
                ]
                for name in CODECS:
                    error, sd, loss[name] = _read(name, notes, sounds, Path(folder))
                    errors[name].append(error)
                    own[name].append(sd)
    print("| sound | scatter against the lossless | error | own uncertainty | added | error over both |")
    print("| --- | --- | --- | --- | --- | --- |")
    plain = np.concatenate(errors["wav"])
    for name in CODECS:
        error, sd = np.concatenate(errors[name]), np.concatenate(own[name])
        good = np.isfinite(error) & np.isfinite(plain)
        apart = np.std(error[good] - plain[good])
        both = np.hypot(sd[good], loss[name])
        print(
            f"| {name} | {apart:.3f} | {np.std(error[good]):.3f} | {np.median(sd[good]):.3f} "
            f"| {loss[name]:.2f} | {np.sqrt(np.mean((error[good] / both) ** 2)):.2f} |"
        )


def _read(
    name: str, notes: tuple[Played, ...], sounds: list[FloatArray], folder: Path
) -> tuple[FloatArray, FloatArray, float]:
    """Return the errors of one string's notes, less their mean, their uncertainties, and what is added."""
    encoder = PHONE[name]
    path = encode(folder / f"c.{encoder.ending}", np.concatenate(sounds), rate_hz=RATE_HZ, encoder=encoder)
    recording = read_recording(path)
    clips = [recording.between(i * LONG_S + 0.02, (i + 1) * LONG_S) for i in range(len(sounds))]
    read = read_group(clips, expected_hz=[note.hz for note in notes])
    error = np.array(
        [
            1200 * np.log2(r.hz / n.hz) if isinstance(r, Reading) else np.nan
            for r, n in zip(read, notes, strict=True)
        ]
    )
    sd = np.array([r.sd_cents if isinstance(r, Reading) else np.nan for r in read])
    path.unlink()
    return error - np.nanmean(error), sd, loss_sd_cents(recording.coding)


if __name__ == "__main__":
    main()
