"""Draw one picture for every sign convention: ``python -m docs.conventions.draw`` writes the SVG files beside it."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

from docs.conventions.pen import INK, OTHER, PALE, STRONG, Picture

HERE = Path(__file__).resolve().parent


def girder_frame() -> Picture:
    """The girder frame in two views."""
    p = Picture("Girder frame: z along the beam, y up, x to the left of one who looks along the beam")
    p.words((105, 22), "looking along the beam", anchor="middle", ink=PALE)
    p.arrow((120, 130), (120, 55))
    p.words((128, 62), "y up", ink=STRONG)
    p.arrow((120, 130), (35, 130))
    p.words((30, 152), "x left", ink=STRONG)
    p.away((120, 130))
    p.words((133, 152), "z, away", ink=INK)
    p.words((345, 22), "seen from above", anchor="middle", ink=PALE)
    p.box((280, 112), 140, 36)
    p.words((350, 165), "girder", anchor="middle", ink=PALE)
    p.arrow((280, 130), (440, 130))
    p.words((440, 105), "z, beam", ink=STRONG, anchor="end")
    p.arrow((280, 130), (280, 55))
    p.words((288, 62), "x left", ink=STRONG)
    p.near((280, 130))
    p.words((272, 158), "y, to you", anchor="end")
    p.words((230, 192), "right-handed: x = y × z", anchor="middle")
    p.words((230, 213), "origin: the girder's middle on the nominal beam axis", anchor="middle", size=12)
    return p


def slopes() -> Picture:
    """The two slopes of an axis."""
    p = Picture("slope_x = dx/dz, slope_y = dy/dz")
    for left, view, letter, sense in (
        (20, "seen from above", "x", "turns to the left"),
        (245, "seen from the right", "y", "climbs"),
    ):
        p.words((left + 95, 22), view, anchor="middle", ink=PALE)
        p.line((left, 130), (left + 190, 130), ink=PALE, dashed=True)
        p.words((left + 180, 148), "z", ink=PALE)
        p.arrow((left + 8, 130), (left + 8, 60), ink=PALE, wide=1.4)
        p.words((left + 16, 66), letter, ink=PALE)
        p.arrow((left + 40, 152), (left + 160, 86))
        p.arc((left + 80, 130), 62, 0, 28.8, ink=OTHER)
        p.words((left + 95, 182), f"slope_{letter} > 0: the axis {sense}", anchor="middle", size=13)
    p.words(
        (230, 212),
        "On paper: yaw (dx/dz), pitch (dy/dz). In code and files: slope_x, slope_y.",
        size=12,
        anchor="middle",
    )
    return p


def roll() -> Picture:
    """Roll about the beam."""
    p = Picture("roll: rotation about z, from x towards y")
    p.words((230, 22), "looking along the beam", anchor="middle", ink=PALE)
    p.arrow((230, 120), (230, 45), ink=PALE)
    p.words((240, 50), "y up", ink=PALE)
    p.arrow((230, 120), (145, 120), ink=PALE)
    p.words((110, 125), "x left", ink=PALE)
    p.arc((230, 120), 58, 170, 100)
    p.words((105, 70), "roll > 0", ink=STRONG)
    p.away((230, 120))
    p.words((230, 180), "x turns towards y: clockwise for one who looks along the beam,", anchor="middle")
    p.words((230, 200), "the left side rises.", anchor="middle")
    return p


def bolt_turn() -> Picture:
    """What a positive turn does, and what the hand of a thread means."""
    p = Picture("Bolt: a positive turn pushes the girder along the bolt's direction")
    p.box((20, 35), 180, 34)
    p.words((110, 57), "girder", anchor="middle", ink=PALE)
    p.box((100, 71), 20, 90, fill="#e4e4e4")
    p.line((40, 163), (190, 163), ink=PALE)
    p.arrow((148, 130), (148, 80))
    p.words((156, 112), "direction", ink=STRONG)
    p.words((110, 185), "turns > 0: the girder goes", anchor="middle")
    p.words((110, 203), "along the bolt's direction", anchor="middle")
    for middle, hand, sign in ((290, "right-handed", -1), (400, "left-handed", 1)):
        p.ring((middle, 90), 26, ink=PALE, fill="#e4e4e4")
        p.arc((middle, 90), 36, 150 if sign < 0 else 30, 30 if sign < 0 else 150)
        p.words((middle, 150), hand, anchor="middle")
        p.words((middle, 167), "clockwise" if sign < 0 else "counter-clockwise", anchor="middle", size=12)
        p.away((middle, 90))
    p.words((345, 22), "seen from the side of the wrench", anchor="middle", ink=PALE)
    p.words((345, 203), "so turned, it advances away from you", anchor="middle", size=12)
    return p


def station_angles() -> Picture:
    """Direction and zenith angle of a sighting."""
    p = Picture("Direction counter-clockwise seen from above, zenith angle 0 straight up")
    p.words((110, 22), "seen from above", anchor="middle", ink=PALE)
    p.arrow((60, 150), (190, 150), ink=PALE)
    p.words((192, 168), "station's x", ink=PALE, anchor="end")
    p.arrow((60, 150), (60, 45), ink=PALE)
    p.words((68, 52), "station's y", ink=PALE)
    p.line((60, 150), (160, 75))
    p.ring((164, 72), 5, fill=STRONG)
    p.arc((60, 150), 70, 0, 36.9)
    p.words((135, 130), "direction > 0", ink=STRONG)
    p.near((60, 150))
    p.words((345, 22), "seen from the side", anchor="middle", ink=PALE)
    p.arrow((270, 150), (270, 45), ink=PALE)
    p.words((262, 52), "up", ink=PALE, anchor="end")
    p.line((270, 150), (440, 150), ink=PALE, dashed=True)
    p.line((270, 150), (395, 90))
    p.ring((400, 88), 5, fill=STRONG)
    p.arc((270, 150), 62, 90, 25.6)
    p.words((318, 82), "zenith angle", ink=STRONG)
    p.words((388, 138), "slope distance", anchor="middle", size=12)
    p.words((230, 195), "zenith angle: 0 straight up, 100 gon = 90 deg level.", anchor="middle")
    p.words(
        (230, 215), "A circle that counts clockwise is turned round where the file is read.", anchor="middle", size=12
    )
    return p


def phasor() -> Picture:
    """Phasors and time."""
    p = Picture(
        "exp(+i w t): the displacement is Re(A exp(i w t)), A a peak value, phase counted from the drive current"
    )
    p.line((25, 115), (185, 115), ink=PALE)
    p.line((105, 35), (105, 195), ink=PALE)
    p.words((186, 133), "Re: in phase", size=12, ink=PALE, anchor="middle")
    p.words((112, 34), "Im: quarter period ahead", size=12, ink=PALE)
    p.ring((105, 115), 60, ink=PALE)
    p.arrow((105, 115), (147, 73))
    p.words((148, 68), "A", ink=STRONG)
    p.arc((105, 115), 34, 0, 45, ink=OTHER)
    p.words((142, 108), "phase > 0 leads", size=12, ink=OTHER)
    left, right, middle = 250.0, 445.0, 115.0
    p.line((left, middle), (right, middle), ink=PALE)
    p.words((right, middle + 16), "t", ink=PALE)
    steps = [k / 60 for k in range(61)]
    for ink, phase, high in ((PALE, 0.0, 40.0), (STRONG, math.pi / 4, 60.0)):
        wave = [(left + s * (right - left), middle - high * math.cos(2.5 * math.pi * s + phase)) for s in steps]
        p.curve(wave, ink=ink)
    p.words((316, 62), "current cos w t", size=12, ink=PALE)
    p.words((348, 196), "displacement |A| cos(w t + phase)", ink=STRONG, size=12, anchor="middle")
    p.arrow((left - 8, middle), (left - 8, middle - 60), ink=OTHER, wide=1.4)
    p.words((left - 8, 46), "peak", size=12, ink=OTHER, anchor="middle")
    p.words(
        (230, 220),
        "At resonance the displacement is a quarter period off the current: Im carries it.",
        size=12,
        anchor="middle",
    )
    return p


def sag() -> Picture:
    """Sag of the wire below its chord."""
    p = Picture("sag: counted positive downward, below the chord of the wire's supports")
    p.line((40, 70), (420, 70), ink=PALE, dashed=True)
    p.words((425, 60), "chord", ink=PALE, anchor="end")
    hang = [(40 + 380 * k / 40, 70 + 240 * (k / 40) * (1 - k / 40)) for k in range(41)]
    p.curve(hang)
    for x in (40, 420):
        p.box((x - 6, 72), 12, 70)
    p.words((95, 130), "wire", anchor="middle")
    p.arrow((230, 72), (230, 128))
    p.words((240, 105), "sag > 0", ink=STRONG)
    p.words((230, 175), "y of the wire = y of the chord − sag;  mid-span: g / (32 f₁²)", anchor="middle")
    p.words((230, 200), "The chord is straight between the two supports, level or not.", anchor="middle", size=12)
    return p


def offset_and_move() -> Picture:
    """An offset that was found and the move that cures it."""
    p = Picture("offset: centre minus common line; move: what the crew is to do, the other way")
    p.words((230, 22), "seen from above; left is up on the page", anchor="middle", ink=PALE)
    p.line((30, 120), (430, 120), ink=PALE, dashed=True)
    p.words((430, 138), "common line", ink=PALE, anchor="end")
    p.box((120, 60), 90, 46)
    p.ring((165, 83), 4, fill=INK)
    p.words((165, 53), "centre found", anchor="middle", size=12)
    p.arrow((185, 120), (185, 84))
    p.words((220, 100), "offset +20 µm: it lies to the left", ink=STRONG)
    p.arrow((145, 84), (145, 120), ink=OTHER)
    p.words((20, 150), "move −20 µm: move the magnet 20 µm to the right", ink=OTHER)
    p.words((230, 185), "own move or shift: later occasion minus earlier one.", anchor="middle")
    p.words((230, 207), "Found things are shifts, ordered or done ones are moves.", anchor="middle", size=12)
    return p


def temperature() -> Picture:
    """Top minus bottom and the bow that follows."""
    p = Picture("Temperature difference: top minus bottom; a warmer top bows the girder's middle up")
    top = [(60 + 340 * k / 30, 110 - 40 * math.sin(math.pi * k / 30)) for k in range(31)]
    low = [(x, y + 34) for x, y in top]
    p.curve(top, ink=OTHER, wide=2.6)
    p.curve(low, ink=STRONG, wide=2.6)
    p.line(top[0], low[0])
    p.line(top[-1], low[-1])
    p.words((230, 58), "top, warm", ink=OTHER, anchor="middle")
    p.words((230, 124), "bottom, cool", ink=STRONG, anchor="middle")
    p.line((60, 144), (400, 144), ink=PALE, dashed=True)
    p.words((230, 178), "top minus bottom > 0:  y'' = −(expansion) (T top − T bottom) / depth", anchor="middle")
    p.words((230, 202), "The middle rises against the ends.", anchor="middle", size=12)
    return p


def wire_force() -> Picture:
    """The force of the field on the wire."""
    p = Picture("Force per metre on the wire: f_x = -I B_y, f_y = +I B_x; positive current flows along z")
    for middle, field_word, force_word in (
        (115, "B_y > 0, up", "f_x = −I B_y"),
        (345, "B_x > 0, left", "f_y = +I B_x"),
    ):
        p.words((middle, 22), "looking along the beam", anchor="middle", ink=PALE)
        up = field_word.startswith("B_y")
        p.arrow((middle, 120), (middle, 55) if up else (middle - 65, 120), ink=OTHER)
        p.words(
            (middle - 8, 50) if up else (middle - 100, 108),
            field_word,
            ink=OTHER,
            size=12,
            anchor="end" if up else "start",
        )
        p.arrow((middle, 120), (middle + 65, 120) if up else (middle, 55))
        p.words((middle + 22, 140) if up else (middle + 8, 60), force_word, ink=STRONG)
        p.away((middle, 120))
        p.words((middle, 150), "I", anchor="middle")
    p.words(
        (230, 185),
        "A field upward pushes the wire to the right, a field to the left pushes it up.",
        size=12,
        anchor="middle",
    )
    p.words(
        (230, 207),
        "In a quadrupole with dB_y/dx > 0 a positive current is pushed back towards x = 0.",
        anchor="middle",
        size=12,
    )
    return p


def rotations() -> Picture:
    """Rotations of an own move."""
    p = Picture("Rotations of an own move are right-handed about x, y and z")
    rows = (
        (80, "rx", "y", "z", "rx = −slope_y", "seen from the left"),
        (230, "ry", "z", "x", "ry = +slope_x", "seen from above"),
        (380, "rz", "x", "y", "rz = roll", "against the beam"),
    )
    for middle, name, first, second, meaning, view in rows:
        p.words((middle, 22), view, anchor="middle", ink=PALE)
        p.arrow((middle - 30, 125), (middle + 40, 125), ink=PALE)
        p.words((middle + 44, 130), first, ink=PALE)
        p.arrow((middle - 30, 125), (middle - 30, 55), ink=PALE)
        p.words((middle - 34, 48), second, ink=PALE)
        p.arc((middle - 30, 125), 48, 12, 78)
        p.words((middle + 12, 80), name, ink=STRONG)
        p.near((middle - 30, 125))
        p.words((middle, 165), f"{first} towards {second}", anchor="middle")
        p.words((middle, 187), meaning, anchor="middle")
    return p


PICTURES: tuple[Callable[[], Picture], ...] = (
    girder_frame,
    slopes,
    roll,
    rotations,
    bolt_turn,
    station_angles,
    phasor,
    sag,
    offset_and_move,
    temperature,
    wire_force,
)


def main() -> None:
    """Write every picture beside this file."""
    for draw in PICTURES:
        (HERE / f"{draw.__name__}.svg").write_text(draw().svg, encoding="utf-8")


if __name__ == "__main__":
    main()
