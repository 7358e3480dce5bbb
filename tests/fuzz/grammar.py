"""Strange inputs: good ones with a few parts replaced, drawn from a seeded generator.

Every input can be made again from its seed. Values are of three sorts: absurd but well formed (a scale of
3 mm, a rate of 1 Hz), of the wrong kind, and damaged text.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Sequence
from random import Random

ABSURD = (
    *(
        "0",
        "-1",
        "1",
        "40",
        "9999999999",
        "9" * 4500,
        "1e308",
        "1e-308",
        "-1e308",
        "inf",
        "nan",
        "-0.0",
        "0.1",
    ),
    *('""', '"3 mm"', '"0 mm"', '"-5 mm"', '"1e9 mm"', '"1e-9 in"', '"nan mm"', '"10 thou"', '"648"', '"mm"'),
    *(
        "true",
        "false",
        "[]",
        "{}",
        "[[]]",
        '["1 mm", "2 mm"]',
        '{a = "1 mm"}',
        "1979-05-27T07:32:00Z",
        "0xff",
    ),
    *('"electric"', '"E4"', '"H9"', '"E-3"', '"\\u202e"', '"../../x"', '"/dev/zero"', '"con"', '"a\\u0000b"'),
)
CELLS = (
    *(
        "",
        "0",
        "-1",
        "1",
        "6",
        "40",
        "1e308",
        "nan",
        "inf",
        "9" * 4500,
        "²",
        "0x10",
        "1,5",
        "1 2",
        "open",
        "press",
    ),
    *(
        "fret",
        "leaf",
        "OPEN",
        "a.wav",
        "../a.wav",
        "/dev/zero",
        "con",
        "\x1b[2J",
        "\u202eabc",
        "0.4 mm",
        "1e-9",
    ),
)
DAMAGE = (
    "\x00",
    "\x1b[31m",
    "\r",
    "\n",
    '"',
    "'''",
    "[",
    "]",
    "=",
    "#",
    "\ufeff",
    "\ud7ff",
    "[[",
    "é" * 50,
    ",",
    ";",
)


def toml(rng: Random, good: str) -> str:
    """A settings file or another TOML text with some values, lines or letters replaced."""
    lines = good.splitlines()
    for _ in range(rng.randint(1, 4)):
        i = rng.randrange(len(lines))
        what = rng.randrange(6)
        if what < 3 and "=" in lines[i]:
            lines[i] = lines[i].partition("=")[0] + "= " + rng.choice(ABSURD)
        elif what == 3:
            lines.insert(i, lines[rng.randrange(len(lines))])
        elif what == 4:
            del lines[i]
            lines = lines or [""]
        else:
            lines[i] = _damaged(rng, lines[i])
    if rng.random() < 0.02:
        lines += [f"x = {'[' * 400}{']' * 400}"]
    if rng.random() < 0.05:  # forty strings, or so
        lines += [f'[[strings]]\nnumber = {n}\nnote = "E4"' for n in range(3, rng.choice([12, 43]))]
    return "\n".join(lines) + "\n"


def table(rng: Random, head: str, good: Sequence[str]) -> str:
    """A table with rows doubled, cells replaced, separators and columns changed."""
    rows = [row.split(",") for row in (head, *good)]
    for _ in range(rng.randint(1, 5)):
        row = rows[rng.randrange(len(rows))]
        what = rng.randrange(5)
        if what < 3 and row:
            row[rng.randrange(len(row))] = rng.choice(CELLS)
        elif what == 3:
            row.append(rng.choice(CELLS))
        else:
            rows.append(list(row))
    text = rng.choice([",", ",", ",", ";", "\t"]).join(rows[0]) + "\n"
    text += "\n".join(",".join(row) for row in rows[1:])
    return _damaged(rng, text) if rng.random() < 0.3 else text


def wav(rng: Random) -> bytes:
    """A small sound with strange numbers in its head, or cut off, or with bytes changed."""
    rate = rng.choice([0, 1, 7, 4000, 8000, 44100, 48000, 384000, 2**31, 2**32 - 1])
    channels, bits = (
        rng.choice([0, 1, 1, 1, 2, 3, 200, 65535]),
        rng.choice([0, 1, 8, 16, 16, 16, 24, 32, 33, 64]),
    )
    count = rng.choice([0, 1, 7, 100, 4000])
    data = bytes(rng.randrange(256) for _ in range(min(count, 200))) * (count // 200 + 1)
    stated = rng.choice([len(data), len(data), 0, 2**32 - 1, 36_000 * 48_000 % 2**32, len(data) * 3])
    kind = rng.choice([1, 1, 1, 3, 6, 7, 85, 0xFFFE, 0])
    width = channels * bits // 8
    head = struct.pack("<HHIIHH", kind, channels, rate, rate * width % 2**32, width % 2**16, bits)
    whole = b"RIFF" + struct.pack("<I", 36 + len(data)) + b"WAVEfmt " + struct.pack("<I", 16) + head
    whole += b"data" + struct.pack("<I", stated) + data
    return changed_bytes(rng, whole) if rng.random() < 0.5 else whole


def changed_bytes(rng: Random, good: bytes) -> bytes:
    """Some bytes changed, taken out, doubled, or the end cut off."""
    raw = bytearray(good)
    for _ in range(rng.randint(1, 6)):
        if not raw:
            break
        i = rng.randrange(len(raw))
        what = rng.randrange(4)
        if what < 2:
            raw[i] = rng.choice([0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)])
        elif what == 2:
            del raw[i : i + rng.randint(1, 30)]
        else:
            raw[i:i] = raw[i : i + rng.randint(1, 30)]
    return bytes(raw[: rng.randrange(len(raw) + 1)]) if rng.random() < 0.15 else bytes(raw)


def form(rng: Random, fields: Sequence[str]) -> dict[str, str]:
    """What a page may send: fields left out, doubled under other names, with strange values."""
    values = [re.sub(r'^"|"$', "", one) for one in (*ABSURD, *CELLS)]
    chosen = {name: rng.choice(values) for name in fields if rng.random() < 0.8}
    if rng.random() < 0.2:
        chosen[rng.choice(values)[:50]] = rng.choice(values)
    return chosen


def _damaged(rng: Random, text: str) -> str:
    """Text with a sign put in or a part taken out."""
    i = rng.randrange(len(text) + 1)
    if rng.random() < 0.5:
        return text[:i] + rng.choice(DAMAGE) + text[i:]
    return text[:i] + text[i + rng.randint(1, 10) :]
