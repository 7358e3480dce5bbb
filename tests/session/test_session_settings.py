"""``session.toml``: what is read, and that every bad value names its field, limit and remedy."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from helpers.folders import READINGS, SETTINGS, faults_of_settings, make_folder
from pitchcheck.errors import NothingMeasured
from pitchcheck.instrument import BehindNut, Fretwork, MeterQuantity, Nut
from pitchcheck.physics.materials import Make, make_of
from pitchcheck.session.folder import Session, read_session
from pitchcheck.session.limits import GAUGE_READINGS
from pitchcheck.session.settings import read_settings

ROW = READINGS + "1,open,,0,329.6\n"
MM = 1e-9  # lengths are exact conversions; only the last bit may differ


def read(folder: Path, settings: str) -> Session:
    return read_session(make_folder(folder, settings=settings, readings=ROW))


def test_lengths_keep_their_unit_and_defaults_are_those_of_the_contract(tmp_path: Path) -> None:
    job = read(tmp_path, SETTINGS).settings
    assert job.instrument.scale_mm == 628.0
    assert job.instrument.strings[0].gauge_mm == pytest.approx(0.254, abs=MM)  # 0.010 in by definition
    assert job.target.third_fret_clearance_mm == pytest.approx((0.1524, 0.254), abs=MM)
    assert (job.target.tolerance_mm, job.target.floor_mm) == (0.10, (0.05, 0.10))
    assert job.instrument.nut is Nut.SLOTTED


def test_everything_of_the_contract_is_understood(tmp_path: Path) -> None:
    extra = """\
[target]
third_fret_clearance = ["8 thou", "0.012 in"]
tolerance = "0.08 mm"
floor = ["0.04 mm", "0.08 mm"]
[[meter]]
what = "clearance_third"
string = 2
value = "0.010 in"
error = "0.001 in"
[[meter]]
what = "relief"
value = "0.2 mm"
"""
    settings = SETTINGS.replace('"628 mm"', '"24.75 in"\nnut = "zero_fret"\naction_12 = "1.6 mm"') + extra
    session = read(tmp_path, settings)
    job = session.settings
    assert session.problems == ()
    assert job.instrument.nut is Nut.ZERO_FRET
    assert job.instrument.action_12 is not None
    assert job.instrument.action_12.sd_mm == GAUGE_READINGS[MeterQuantity.ACTION_12].sd_mm
    assert job.target.third_fret_clearance_mm == pytest.approx((0.2032, 0.3048), abs=MM)
    assert [(m.what, m.string) for m in job.meter] == [
        (MeterQuantity.CLEARANCE_THIRD, 2),
        (MeterQuantity.RELIEF, None),
    ]
    assert job.meter[0].sd_mm == pytest.approx(0.0254, abs=MM)
    assert job.meter[1].sd_mm == GAUGE_READINGS[MeterQuantity.RELIEF].sd_mm


def test_a_byte_order_mark_is_allowed(tmp_path: Path) -> None:
    assert faults_of_settings(tmp_path, b"\xef\xbb\xbf" + SETTINGS.encode()) == ()


def test_unknown_keys_are_ignored_with_a_notice(tmp_path: Path) -> None:
    settings = SETTINGS.replace("[instrument]", 'mood = "blue"\n[instrument]\ncolour = "red"')
    notices = read(tmp_path, settings).notices
    assert [n for n in notices if "instrument.colour" in n]
    assert [n for n in notices if "mood" in n]


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("schema = 1", "schema = 2", "schema"),
        ("schema = 1", "schema = true", "schema"),
        ('"628 mm"', "628", "instrument.scale"),
        ('"628 mm"', '"628"', "instrument.scale"),
        ('"628 mm"', '"6280 mm"', "instrument.scale"),
        ('"628 mm"', '"-628 mm"', "instrument.scale"),
        ('"628 mm"', '"nan mm"', "instrument.scale"),
        ('"628 mm"', '"' + "9" * 400 + ' mm"', "instrument.scale"),
        ('scale = "628 mm"\n', "", "instrument.scale"),
        ('"628 mm"', '"628 mm"\nnut = "bone"', "instrument.nut"),
        ('"628 mm"', '"628 mm"\naction_12 = "40 mm"', "instrument.action_12"),
        ("number = 2", "number = 1", "strings[2].number"),
        ("number = 2", "number = 0", "strings[2].number"),
        ("number = 2", "number = 2.0", "strings[2].number"),
        ("number = 2\n", "", "strings[2].number"),
        ('note = "B3"', 'note = "H3"', "strings[2].note"),
        ('note = "B3"', 'note = "B9"', "strings[2].note"),
        ('note = "B3"\n', "", "strings[2].note"),
        ('"0.013 in"', '"0.13 spans"', "strings[2].gauge"),
        ('"0.013 in"', '"0.013 in"\ncore = "0.02 in"', "strings[2].core"),
        ('"0.013 in"', '"0.013 in"\nwound = "no"', "strings[2].wound"),
        ('"0.013 in"', '"0.013 in"\ntarget_height = "9 mm"', "strings[2].target_height"),
        ("[[strings]]\nnumber = 2", '[target]\nfloor = "0.1 mm"\n[[strings]]\nnumber = 2', "target.floor"),
    ],
)
def test_a_bad_value_is_named_with_its_limit_and_remedy(
    tmp_path: Path, old: str, new: str, field: str
) -> None:
    assert old in SETTINGS
    (fault,) = faults_of_settings(tmp_path, SETTINGS.replace(old, new))
    assert (fault.file, fault.field) == ("session.toml", field)
    assert fault.limit
    assert fault.action


def test_all_faults_are_found_in_one_reading(tmp_path: Path) -> None:
    settings = SETTINGS.replace('"628 mm"', '"628"').replace('"E4"', '"X4"').replace("0.013 in", "wide")
    fields = {fault.field for fault in faults_of_settings(tmp_path, settings)}
    assert fields == {"instrument.scale", "strings[1].note", "strings[2].gauge"}


@pytest.mark.parametrize("settings", ["schema = = 1", "a = " + "[" * 5000, b"\xff\xfe\x00s", ""])
def test_a_file_that_is_no_settings_file_is_refused(tmp_path: Path, settings: str | bytes) -> None:
    assert faults_of_settings(tmp_path, settings)


def test_a_missing_folder_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(NothingMeasured, match="pitchcheck new"):
        read_session(tmp_path / "nowhere")


def test_the_fall_behind_the_nut_is_two_lengths_or_none(tmp_path: Path) -> None:
    def behind(lines: str) -> str:
        return SETTINGS.replace("[instrument]\n", f"[instrument]\n{lines}\n", 1)

    told = read(
        tmp_path, behind('nut_to_post = "2 in"\nfall_to_post = "8 mm"')
    ).settings.instrument.behind_nut
    assert told == BehindNut(pytest.approx(50.8), 8.0)
    assert told.angle_rad == pytest.approx(math.radians(8.95), abs=1e-3)
    for lines, field in (
        ('nut_to_post = "60 mm"', "instrument.fall_to_post"),
        ('fall_to_post = "8 mm"', "instrument.nut_to_post"),
        ('nut_to_post = "4 mm"\nfall_to_post = "8 mm"', "instrument.nut_to_post"),
        ('nut_to_post = "60 mm"\nfall_to_post = "101 mm"', "instrument.fall_to_post"),
    ):
        assert [fault.field for fault in faults_of_settings(tmp_path, behind(lines))] == [field]


@pytest.mark.parametrize(
    ("lines", "field"),
    [
        ('what = "depth"\nstring = 1\nvalue = "1 mm"', "meter[1].what"),
        ('what = "clearance_third"\nvalue = "1 mm"', "meter[1].string"),
        ('what = "clearance_third"\nstring = 9\nvalue = "1 mm"', "meter[1].string"),
        ('what = "clearance_third"\nstring = 1\nvalue = 0.006', "meter[1].value"),
        ('what = "clearance_third"\nstring = 1', "meter[1].value"),
        ('what = "clearance_third"\nstring = 1\nvalue = "6 mm"\nerror = "0 mm"', "meter[1].error"),
        ('what = "clearance_open"\nstring = 1\nvalue = "1 mm"\npasses = "0.9 mm"', "meter[1].value"),
        ('what = "clearance_open"\nstring = 1\nstops = "0.8 mm"\npasses = "0.9 mm"', "meter[1].stops"),
    ],
)
def test_a_bad_gauge_reading_costs_only_itself(tmp_path: Path, lines: str, field: str) -> None:
    good = '[[meter]]\nwhat = "relief"\nvalue = "0.2 mm"\n'
    session = read(tmp_path, SETTINGS + f"[[meter]]\n{lines}\n" + good)
    assert [fault.field for fault in session.problems] == [field]
    assert [m.what for m in session.settings.meter] == [MeterQuantity.RELIEF]


def test_a_decimal_slip_is_kept_as_it_stands_for_the_fit_to_question(tmp_path: Path) -> None:
    slip = '[[meter]]\nwhat = "clearance_third"\nstring = 1\nvalue = "0.06 in"\n'
    session = read(tmp_path, SETTINGS + slip)
    assert session.problems == ()
    assert session.settings.meter[0].value_mm == pytest.approx(1.524, abs=MM)


def test_a_preset_fills_what_is_missing_and_says_so(tmp_path: Path) -> None:
    settings = 'schema = 1\n[instrument]\nkind = "Tenor-Ukulele"\nscale = "432 mm"\n'
    session = read(tmp_path, settings)
    assert [s.note for s in session.settings.instrument.strings] == ["A4", "E4", "C4", "G4"]
    assert [n for n in session.notices if "usual strings" in n]


def test_the_pass_before_may_lie_outside_and_a_wrong_one_costs_only_itself(tmp_path: Path) -> None:
    make_folder(tmp_path / "first", readings=ROW)
    removed = '[[before.removed]]\nstring = 2\namount = "0.20 mm"\n'
    good = read(tmp_path / "second", SETTINGS + '[before]\nfolder = "../first"\n' + removed)
    assert good.before == (tmp_path / "first").resolve()
    assert [(r.string, r.amount_mm) for r in good.settings.removed] == [(2, 0.20)]
    bad = read(tmp_path / "third", SETTINGS + '[before]\nfolder = "../nowhere"\n')
    assert bad.before is None
    assert [fault.field for fault in bad.problems] == ["before.folder"]


def test_feeler_leaves_bound_a_gap_from_one_side_or_both(tmp_path: Path) -> None:
    head = '[[meter]]\nwhat = "clearance_open"\nstring = 1\n'
    session = read(
        tmp_path, f'{SETTINGS}{head}passes = "0.010 in"\nstops = "0.012 in"\n{head}stops = "0.3 mm"\n'
    )
    assert session.problems == ()
    both, one = session.settings.meter
    assert (both.passes_mm, both.stops_mm) == (pytest.approx(0.254), pytest.approx(0.3048))
    assert both.value_mm == pytest.approx(0.2794, abs=MM)
    assert (one.passes_mm, one.stops_mm, one.value_mm) == (None, pytest.approx(0.3), pytest.approx(0.3))


def test_level_fretwork_is_declared_and_never_assumed(tmp_path: Path) -> None:
    assert read(tmp_path, SETTINGS).settings.instrument.fretwork is Fretwork.UNKNOWN
    level = SETTINGS.replace('"628 mm"', '"628 mm"\nfretwork = "level"')
    assert read(tmp_path, level).settings.instrument.fretwork is Fretwork.LEVEL


@pytest.mark.parametrize(
    ("material", "gauge", "said", "wound"),
    [
        ("nickel-plated steel", '"0.046 in"', "", True),  # nobody said so: by its gauge
        ("nickel-plated steel", '"0.010 in"', "", False),  # the plain string of a plated set
        ("nickel-plated steel", '"0.046 in"', "wound = false\n", False),  # what is said stands
        ("plain steel", '"0.017 in"', "", False),
        ("phosphor bronze", '"0.012 in"', "", True),
    ],
)
def test_wound_is_decided_once_and_what_is_said_stands(
    tmp_path: Path, material: str, gauge: str, said: str, wound: bool
) -> None:
    text = (
        'schema = 1\n[instrument]\nkind = "an instrument of my own"\nscale = "648 mm"\n'
        "[[strings]]\nnumber = 1\n"
        f'note = "E2"\ngauge = {gauge}\nmaterial = "{material}"\n{said}'
    )
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    spec = read_settings(tmp_path).settings.instrument.strings[0]
    assert spec.wound is wound
    assert (make_of(spec) is Make.WOUND_STEEL) is wound  # the physics follows what was decided
