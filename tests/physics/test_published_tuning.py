"""Notes, fret places and units against published standards and tables; the source stands beside each."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcheck.tuning import fret_place, note_hz
from pitchcheck.units import cents_between, length_mm

# ISO 16:1975 fixes A4 at 440 Hz. The other notes are twelve-tone equal temperament from it, as printed (two
# decimals) in the usual table of note frequencies: from a five-string bass's lowest string to the octave of a
# mandolin's highest.
NOTE_TABLE_HZ = {
    "B0": 30.87,
    "E1": 41.20,
    "A1": 55.00,
    "E2": 82.41,
    "A2": 110.00,
    "D3": 146.83,
    "G3": 196.00,
    "B3": 246.94,
    "C4": 261.63,
    "E4": 329.63,
    "A4": 440.00,
    "E5": 659.26,
    "E6": 1318.51,
}
PRINTED_HZ = 0.005  # two decimals

# Published fret table of a 647.7 mm (25.5 in) scale, nut to fret, frets 1 to 10. [mm]
TABLE_647_MM = (36.35, 70.66, 103.05, 133.62, 162.47, 189.71, 215.41, 239.67, 262.58, 284.19)
PRINTED_MM = 0.0061  # two decimals; fret 8 is 239.675 and was printed rounded down

# Published fret table of a 25.0 in scale, fret to bridge, frets 1 to 12. [in]
TABLE_25_IN = (23.597, 22.272, 21.022, 19.843, 18.729, 17.678, 16.685, 15.749, 14.865, 14.031, 13.243, 12.5)
PRINTED_IN = 0.0006  # three decimals

DIVISOR = 17.817  # what makers divide the remaining length by, fret after fret; published to three decimals
OLD_DIVISOR = 18.0  # the "rule of eighteen"


def test_concert_pitch_is_iso_16() -> None:
    assert note_hz("A4") == 440.0


@pytest.mark.parametrize("name", NOTE_TABLE_HZ)
def test_notes_match_the_table_of_equal_temperament(name: str) -> None:
    assert note_hz(name) == pytest.approx(NOTE_TABLE_HZ[name], abs=PRINTED_HZ)


def test_accidentals_meet() -> None:
    assert note_hz("F#3") == note_hz("Gb3") == pytest.approx(185.00, abs=PRINTED_HZ)


def test_librosa_names_the_same_pitches() -> None:
    librosa = pytest.importorskip("librosa", reason="an independent reference")
    names = [f"{letter}{octave}" for octave in range(7) for letter in ("C", "C#", "Eb", "F", "G#", "B")]
    np.testing.assert_allclose([note_hz(n) for n in names], librosa.note_to_hz(names), rtol=1e-12)


def test_frets_of_the_metric_table() -> None:
    found = [fret_place(647.7, n) for n in range(1, 11)]
    np.testing.assert_allclose(found, TABLE_647_MM, atol=PRINTED_MM)


def test_frets_of_the_inch_table() -> None:
    found = [25.0 - fret_place(25.0, n) for n in range(1, 13)]
    np.testing.assert_allclose(found, TABLE_25_IN, atol=PRINTED_IN)


def test_frets_of_the_makers_handbook() -> None:
    # A maker's handbook, 25.5 in scale: first fret 1.431 in, second 2.782 in from the nut.
    assert fret_place(25.5, 1) == pytest.approx(1.431, abs=PRINTED_IN)
    assert fret_place(25.5, 2) == pytest.approx(2.782, abs=PRINTED_IN)
    assert length_mm("25.5 in") == pytest.approx(647.7)


def test_the_divisor_of_the_trade() -> None:
    assert 1.0 / fret_place(1.0, 1) == pytest.approx(DIVISOR, abs=0.0005)  # three decimals


def test_the_rule_of_eighteen_is_flat() -> None:
    # Common knowledge of the trade, worked out: 1.045 cents flat per fret, 12.5 at the octave.
    per_fret = cents_between(1 - 1 / OLD_DIVISOR, 1.0) - 100
    assert per_fret == pytest.approx(-1.045, abs=0.0005)
    left = (1 - 1 / OLD_DIVISOR) ** 12
    assert cents_between(left, 1.0) - 1200 == pytest.approx(-12.5, abs=0.05)
    assert left > 1.0 - fret_place(1.0, 12)


def test_just_intervals_against_equal_temperament() -> None:
    # Textbook figures: the tempered major third is 13.7 cents wide of 5:4, the fifth 1.96 narrow of 3:2.
    assert 400 - cents_between(4, 5) == pytest.approx(13.7, abs=0.05)
    assert cents_between(2, 3) - 700 == pytest.approx(1.96, abs=0.006)


def test_the_inch_is_the_international_one() -> None:
    assert length_mm("1 in") == length_mm("1000 thou") == length_mm('1"') == 25.4
    assert length_mm("0.010 in") == pytest.approx(0.254)
