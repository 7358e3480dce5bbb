"""The take sheet: what to play, in order, as a page that prints on one or two sheets of paper.

Conventions: takes are numbered from 1 across the instrument, as their sound files are; one box for each.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from pitchcheck.instrument import Instrument
from pitchcheck.takes import Position, Stop
from pitchcheck.words import cautions

HOW = (
    "Tune. Press the string down once before the first open take, without recording: this seats it.",
    "Record each take by itself: pluck once, let it ring for 2 to 3 seconds, touch nothing else. "
    "Pluck always at the same place and with the same strength.",
    "Damp the other strings. Do not tune between the takes of one string.",
    "fret: play as you always do, just behind the fret.",
    "press: hold the string down onto the board, midway behind the fret (press 1: midway between nut and "
    "fret 1), with the rod; then pluck.",
    "Save each take under its number (001.wav, 002.wav ...) in this folder. Then: pitchcheck measure FOLDER",
)

_STYLE = """
@page { size: A4; margin: 12mm }
body { font: 10pt/1.3 sans-serif; color: #000; background: #fff; margin: 1em auto; max-width: 186mm }
h1 { font-size: 15pt; margin: 0 } h2 { font-size: 11pt; margin: .6em 0 .2em }
p { margin: .3em 0 } ol, ul { margin: .2em 0; padding-left: 1.4em }
.strings { display: flex; flex-wrap: wrap; gap: 4mm }
table { border-collapse: collapse; width: 58mm; break-inside: avoid }
caption { text-align: left; font-weight: bold; padding: 2mm 0 1mm }
td, th { border: .3mm solid #000; padding: .4mm 1.5mm; text-align: left; font-weight: normal }
td.play { white-space: nowrap } td.box { width: 6mm } td.note { width: 18mm }
.line { border-bottom: .3mm solid #000; display: inline-block; min-width: 50mm }
"""

_EMPTY = '<td class="box"></td><td class="note"></td>'


def render_take_sheet(instrument: Instrument, positions: Sequence[Position]) -> str:
    """Return the sheet as one HTML document without any request to elsewhere.

    Parameters
    ----------
    instrument : Instrument
        Names the strings.
    positions : sequence of Position
        Every take, in playing order.
    """
    pressing = any(place.stop is Stop.PRESS for place in positions)
    care = (*cautions.FIRST, *cautions.EYES, *(cautions.PRESSING if pressing else ()))
    tables = "".join(_string_table(instrument, spec.number, positions) for spec in instrument.strings)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Take sheet: {escape(instrument.kind)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        f"<h1>Take sheet: {escape(instrument.kind)}, scale {instrument.scale_mm:g} mm</h1>\n"
        '<p>Instrument <span class="line"></span> Date <span class="line"></span></p>\n'
        f"<h2>Take care</h2>\n<ul>{_items(care)}</ul>\n<h2>How</h2>\n<ol>{_items(HOW)}</ol>\n"
        f'<div class="strings">\n{tables}</div>\n</body>\n</html>\n'
    )


def _items(lines: Sequence[str]) -> str:
    """Return list items."""
    return "".join(f"<li>{escape(line)}</li>" for line in lines)


def _string_table(instrument: Instrument, number: int, positions: Sequence[Position]) -> str:
    """Return the takes of one string."""
    spec = instrument.string(number)
    rows = "".join(
        f'<tr><th scope="row">{take:03d}</th><td class="play">{_place(place)}</td>{_EMPTY}</tr>\n'
        for take, place in enumerate(positions, 1)
        if place.string == number
    )
    heads = "".join(f'<th scope="col">{word}</th>' for word in ("Take", "Play", "Done", "Remark"))
    caption = f"<caption>String {number} ({escape(spec.note)})</caption>"
    return f"<table>{caption}<thead><tr>{heads}</tr></thead><tbody>\n{rows}</tbody></table>\n"


def _place(place: Position) -> str:
    """Return what to play in a word or two."""
    words = "open" if place.fret is None else f"{place.stop.value} {place.fret}"
    return f"{words}, capo {place.capo}" if place.capo else words
