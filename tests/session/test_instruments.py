"""Presets, tunings, lengths as people write them, short and fanned strings, instruments of one's own."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from pitchcheck.errors import BadValue, NothingMeasured
from pitchcheck.instrument import Instrument
from pitchcheck.physics.materials import Make, string_constants
from pitchcheck.session.new_folder import retuned_text, settings_of_kind
from pitchcheck.session.presets import Preset, get_preset, presets
from pitchcheck.session.settings import parse_settings, read_settings
from pitchcheck.session.tunings import retuned
from pitchcheck.tuning import fret_place
from pitchcheck.units import length_mm
from pitchcheck.workflow.new import new_folder

EXACT_MM = 1e-9

# A plain steel string's stress at pitch is rho (2 L f)^2, whatever its gauge. Music wire ASTM A228 of
# 0.020 in, the thickest plain string here, bears 322,000 psi at least, thinner wire more (from memory).
BREAKING_MPA = 2220.0
# Stretch factors: plain steel E/stress, from 207 GPa over that limit up; wound steel 100 to 700 by core;
# polymer 2R + 1 with R of 22 to 55 (Anderson and Beausoleil 2024, J. Acoust. Soc. Am. 156(1), 683).
STRETCH = {
    Make.PLAIN_STEEL: (207e3 / BREAKING_MPA, 700.0),
    Make.WOUND_STEEL: (100.0, 900.0),
    Make.POLYMER: (45.0, 111.0),
    Make.WOUND_POLYMER: (45.0, 111.0),
}


def as_instrument(preset: Preset) -> Instrument:
    return Instrument(preset.words, preset.scale_mm, preset.strings)


@pytest.mark.parametrize("preset", presets(), ids=lambda p: p.name)
def test_strings_of_a_preset_bear_their_pitch_and_stretch_as_published(preset: Preset) -> None:
    instrument = as_instrument(preset)
    for spec in preset.strings:
        scale = instrument.string_scale_mm(spec.number)
        known = string_constants(spec, scale_mm=scale)
        low, high = STRETCH[known.make]
        assert low < known.stretch_factor < high, (spec.number, known.stretch_factor)
        assert spec.gauge_mm is not None
        if known.make is Make.PLAIN_STEEL:
            stress_mpa = known.tension_n / (math.pi * spec.gauge_mm**2 / 4)
            assert stress_mpa < BREAKING_MPA, (spec.number, stress_mpa)
        assert 15.0 < known.tension_n < 260.0, (spec.number, known.tension_n)


@pytest.mark.parametrize("preset", presets(), ids=lambda p: p.name)
def test_what_is_written_for_a_preset_is_read_back_the_same(preset: Preset, tmp_path: Path) -> None:
    new_folder(tmp_path / "new", kind=preset.name)
    instrument = read_settings(tmp_path / "new").settings.instrument
    assert instrument.scale_mm == preset.scale_mm
    assert [(s.note, s.material, s.wound, s.nut_at_fret) for s in instrument.strings] == [
        (s.note, s.material, s.wound, s.nut_at_fret) for s in preset.strings
    ]
    for read, meant in zip(instrument.strings, preset.strings, strict=True):
        assert read.gauge_mm == pytest.approx(meant.gauge_mm, abs=0.002)  # inches to four digits


def test_the_short_string_of_a_banjo_is_as_long_as_from_its_own_nut() -> None:
    banjo = as_instrument(get_preset("banjo"))
    # Fret 5 of 667 mm stands at 667 (1 - 2^(-5/12)) = 167.3 mm: equal temperament, worked out beforehand.
    assert banjo.string_scale_mm(5) == pytest.approx(667.0 - 167.31, abs=0.01)
    assert banjo.string_scale_mm(1) == 667.0


def test_fanned_frets_have_a_scale_each() -> None:
    text = settings_of_kind("electric").replace("wound = false\n", 'wound = false\nscale = "25 1/2 in"\n', 1)
    strings = parse_settings(text, name="own").settings.instrument
    assert strings.string_scale_mm(1) == pytest.approx(647.7, abs=EXACT_MM)
    assert strings.string_scale_mm(2) == 648.0


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("25 1/2 in", 647.7),
        ("25-1/2 in", 647.7),
        ('25 1/2"', 647.7),
        ("25,5 in", 647.7),
        ("25.5 inches", 647.7),
        ("25.5 inch", 647.7),
        ("25.5″", 647.7),
        ("1/64 in", 0.396875),
        ("-1/8 in", -3.175),
        ("64,77 cm", 647.7),
        (".010 in", 0.254),
        ("10 thou", 0.254),
    ],
)
def test_lengths_as_people_write_them(text: str, mm: float) -> None:
    assert length_mm(text) == pytest.approx(mm, abs=EXACT_MM)  # 25.4 mm an inch, by definition


@pytest.mark.parametrize(
    "text", ["25.5", "25 1/0 in", "1,234.5 mm", "two in", "9" * 5000 + " mm", "1//2 in", ""]
)
def test_what_is_no_length_is_refused_in_a_short_sentence(text: str) -> None:
    with pytest.raises(BadValue) as refused:
        length_mm(text)
    assert len(str(refused.value)) < 300


@pytest.mark.parametrize(
    ("tuning", "notes"),
    [
        ("DADGAD", ["D4", "A3", "G3", "D3", "A2", "D2"]),
        ("d a d f# a d", ["D4", "A3", "F#3", "D3", "A2", "D2"]),
        ("C2 G2 D3 G3 A3 D4", ["D4", "A3", "G3", "D3", "G2", "C2"]),
        ("Eb, Ab, Db, Gb, Bb, Eb", ["Eb4", "Bb3", "Gb3", "Db3", "Ab2", "Eb2"]),
    ],
)
def test_tunings_by_name(tuning: str, notes: list[str]) -> None:
    # Notes of usual open tunings, lowest first (common practice, no source).
    assert [s.note for s in retuned(get_preset("acoustic").strings, tuning)] == notes


def test_a_high_fourth_string_stays_high() -> None:
    ukulele = get_preset("soprano ukulele").strings
    assert [s.note for s in retuned(ukulele, "A D F# B")] == ["B4", "F#4", "D4", "A4"]


@pytest.mark.parametrize("tuning", ["D A D G A", "D A D G A D E", "H A D G A D", "D A D G A D7", "open G"])
def test_what_is_no_tuning_is_refused(tuning: str) -> None:
    with pytest.raises(BadValue):
        retuned(get_preset("acoustic").strings, tuning)


def test_a_note_without_octave_in_the_settings_is_the_nearest() -> None:
    text = settings_of_kind("electric").replace('note = "E2"', 'note = "D"')
    assert parse_settings(text, name="own").settings.instrument.strings[5].note == "D2"


def test_an_unfretted_instrument_is_told_why_not() -> None:
    with pytest.raises(BadValue, match="no frets to press"):
        get_preset("Violin")


def test_an_instrument_of_ones_own_from_its_file(tmp_path: Path) -> None:
    own = tmp_path / "parlour.toml"
    text = settings_of_kind("acoustic", scale_mm=628.0) + '[before]\nfolder = "../x"\n'
    own.write_text(text.replace('# relief = "0.2 mm"', 'relief = "0.15 mm"'), encoding="utf-8")
    new_folder(tmp_path / "new", kind=str(own), tuning="DADGAD")
    read = read_settings(tmp_path / "new")
    assert read.before is None
    assert read.settings.instrument.scale_mm == 628.0
    assert read.settings.instrument.relief is not None
    assert read.settings.instrument.strings[0].note == "D4"


@pytest.mark.parametrize("text", ["schema = = 1", "schema = 1\n[instrument]\nkind = 3\n", "\x00"])
def test_a_bad_file_of_ones_own_is_refused(tmp_path: Path, text: str) -> None:
    own = tmp_path / "bad.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises((BadValue, NothingMeasured)):
        settings_of_kind(str(own))
    with pytest.raises(BadValue, match="cannot be read"):
        settings_of_kind(str(tmp_path / "missing.toml"))


def test_places_of_a_short_string_are_those_of_its_board() -> None:
    """Fret 1 of a string whose nut stands at fret 5 is fret 6 of the board."""
    banjo = as_instrument(get_preset("banjo"))
    own = banjo.string_scale_mm(5)
    assert 667.0 - own + fret_place(own, 1) == pytest.approx(fret_place(667.0, 6), abs=EXACT_MM)


def test_another_tuning_leaves_the_rest_of_the_settings() -> None:
    """Gauge readings, the pass before and comments stay where a session's own settings are retuned."""
    own = settings_of_kind("acoustic") + (
        '[[meter]]\nwhat = "clearance_third"\nstring = 6\nvalue = "0.010 in"\n[before]\nfolder = "../x"\n'
    )
    text = retuned_text(own, "DADGAD", name="session.toml")
    read = parse_settings(text, name="session.toml")
    assert [s.note for s in read.settings.instrument.strings] == ["D4", "A3", "G3", "D3", "A2", "D2"]
    assert len(read.settings.meter) == 1
    assert read.before is not None
    assert "# String 1 is the one nearest the floor" in text
