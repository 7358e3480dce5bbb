"""What lossy sound costs a pitch, and a height: simulated notes of four instruments through phones' encoders.

``python tests/bench/bench_codecs.py`` writes the table of pitches and the constants of ``audio/coding.py``;
``... heights`` that of slot heights, ``... heights 16`` the same of other instruments (a seed). The notes of
one string are read together, as ``pitchcheck measure`` reads them; everything is held against the same notes
without loss.

The constants: per codec, of the worst of the instruments, half the scatter against the lossless sound, or
what the reading's own uncertainty did not grow by, whichever is more, rounded up to 0.01 cent.
"""

from __future__ import annotations

import math
import sys
import tempfile
from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from helpers.codecs import PHONE, encode
from helpers.memo_player import RATE_HZ, random_instrument, random_truth
from helpers.memo_sounds import follow_gain
from pitchcheck.audio.coding import loss_sd_cents
from pitchcheck.audio.recording import read_recording
from pitchcheck.instrument import Instrument
from pitchcheck.pitch.reading import Reading
from pitchcheck.pitch.string_group import read_group
from pitchcheck.session.memo_folder import memo_takes_text
from pitchcheck.session.new_folder import settings_of_kind
from pitchcheck.session.rows import TakeRow
from pitchcheck.simulate.body import random_body
from pitchcheck.simulate.player import Hand, Played, play
from pitchcheck.simulate.room import Room
from pitchcheck.simulate.voice import Voice, sound_of
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray
from pitchcheck.workflow.measure import measure_folder

SEED = 15
STRINGS = {
    "electric": (1, 3, 5),
    "acoustic": (2, 4, 6),
    "classical": (1, 3, 6),
    "tenor ukulele": (1, 3, 4),
}
COURSE = ((Stop.OPEN, None), (Stop.PRESS, 1), (Stop.PRESS, 2), (Stop.OPEN, None)) * 2
CODECS = ("wav", "mp3 128k", "mp3 64k", "m4a 64k", "opus 32k", "opus 16k", "m4a 32k", "3gp amr")
LONG_S = 2.2
FAR_CENTS = 50.0  # beyond it another note was read; ``measure`` sets such a take aside
HOME = ((Stop.OPEN, None), (Stop.PRESS, 1), (Stop.PRESS, 2), (Stop.PRESS, 1), (Stop.OPEN, None))
GAIN = "wav, gain control"
GAIN_DEPTH = 0.4  # loud parts turned down by this power of the loudness


def pitches() -> None:
    rng = np.random.default_rng(SEED)
    errors: dict[tuple[str, str], list[FloatArray]] = defaultdict(list)
    own: dict[tuple[str, str], list[FloatArray]] = defaultdict(list)
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
                    errors[name, kind].append(error)
                    own[name, kind].append(sd)
    print(
        "| sound | other notes read | scatter against the lossless | error | own uncertainty | added "
        "| error over both |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name in CODECS:
        error, sd, plain = (
            np.concatenate([part for kind in STRINGS for part in found[which, kind]])
            for found, which in ((errors, name), (own, name), (errors, "wav"))
        )
        good = np.abs(error - plain) < FAR_CENTS
        both = np.hypot(sd[good], loss[name])
        print(
            f"| {name} | {np.count_nonzero(~good)} of {good.size} | {np.std((error - plain)[good]):.3f} "
            f"| {np.std(error[good]):.3f} | {np.median(sd[good]):.3f} "
            f"| {loss[name]:.2f} | {np.sqrt(np.mean((error[good] / both) ** 2)):.2f} |"
        )
    print("\nTo be added, worst instrument, cents:")
    for name in CODECS:
        print(f"  {name}: {max(_to_add(errors, own, name, kind) for kind in STRINGS):.2f}")


def _to_add(
    errors: Mapping[tuple[str, str], list[FloatArray]],
    own: Mapping[tuple[str, str], list[FloatArray]],
    name: str,
    kind: str,
) -> float:
    """Return what a codec adds on one instrument, by the rule above. [cent]"""
    apart = np.concatenate(errors[name, kind]) - np.concatenate(errors["wav", kind])
    good = np.abs(apart) < FAR_CENTS
    scatter = float(np.std(apart[good]))
    sd, plain = (np.concatenate(own[which, kind])[good] for which in (name, "wav"))
    missing = scatter**2 - float(np.median(sd) ** 2 - np.median(plain) ** 2)
    return math.ceil(100 * max(scatter / 2, math.sqrt(max(missing, 0.0))) - 1e-9) / 100


def heights(seed: int) -> None:
    """Slot heights of whole instruments from one memo each, every codec against the lossless one."""
    print("| instrument | sound | strings | largest change of a height | intervals that hold |")
    print("| --- | --- | --- | --- | --- |")
    for kind in (*STRINGS, "bass"):
        rng = np.random.default_rng(seed)
        instrument = random_instrument(rng, kind)
        truth = random_truth(rng, instrument)
        places = [Position(spec.number, *place) for spec in instrument.strings for place in HOME]
        voice = Voice(random_body(rng, pull_cents=1.0), Room(), RATE_HZ, LONG_S)
        sound = np.concatenate(
            [
                sound_of(rng, played=n, instrument=instrument, truth=truth, voice=voice).samples
                for n in play(rng, truth=truth, hand=Hand(), positions=places)
            ]
        )
        plain = _heights("wav", sound, places, instrument)
        for name in ("wav", "mp3 128k", "m4a 64k", "opus 16k", GAIN):
            found = plain if name == "wav" else _heights(name, sound, places, instrument)
            apart = max(abs(found[n][1] - plain[n][1]) for n in plain)
            held = sum(low <= truth.string(n).slot_height_mm <= high for n, (low, _, high) in found.items())
            print(f"| {kind} | {name} | {len(found)} | {apart:.3f} mm | {held} of {len(found)} |", flush=True)


def _heights(
    name: str, sound: FloatArray, places: Sequence[Position], instrument: Instrument
) -> dict[int, tuple[float, float, float]]:
    """Return the interval and middle of every slot from one recording with a list of takes. [mm]"""
    if name == GAIN:
        name, sound = "wav", follow_gain(sound, rate_hz=RATE_HZ, depth=GAIN_DEPTH)
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home)
        encoder = PHONE[name]
        path = encode(folder / f"memo.{encoder.ending}", sound, rate_hz=RATE_HZ, encoder=encoder)
        rows = [
            TakeRow(i + 1, path.name, place, i * LONG_S + 0.02, (i + 1) * LONG_S)
            for i, place in enumerate(places)
        ]
        (folder / "takes.csv").write_text(memo_takes_text(rows), encoding="utf-8")
        text = settings_of_kind(instrument.kind, scale_mm=instrument.scale_mm)
        (folder / "session.toml").write_text(text, encoding="utf-8")
        plans = measure_folder(folder, workers=1).plan.strings
    return {
        plan.number: (plan.height_mm.low, plan.height_mm.median, plan.height_mm.high)
        for plan in plans
        if plan.height_mm is not None
    }


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
    if sys.argv[1:2] == ["heights"]:
        heights(int(sys.argv[2]) if len(sys.argv) > 2 else SEED)
    else:
        pitches()
