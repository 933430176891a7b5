"""What the invented phone writes into the file: time with offset, invented position, heading, exposure."""

from fractions import Fraction

from PIL import Image
from PIL.TiffImagePlugin import IFDRational


def _degrees(value):
    value = abs(value)
    degree, minute = int(value), int(value % 1 * 60)
    second = Fraction((value - degree - minute / 60) * 3600).limit_denominator(100)
    return IFDRational(degree, 1), IFDRational(minute, 1), IFDRational(second.numerator, second.denominator)


def tags(scene, heading_deg, iso, f_number, shutter_s, ev100):
    """The EXIF block of a scene's photo."""
    exif = Image.Exif()
    stamp = scene.when.strftime("%Y:%m:%d %H:%M:%S")
    offset = scene.when.strftime("%z")
    exif[0x010E] = f"{scene.title}. Invented scene of the Quillmarrow, rendered; the position given is open sea."
    exif[0x0112] = 1
    exif[0x0131] = "demo scene generator"
    exif[0x0132] = stamp
    sub = exif.get_ifd(0x8769)
    sub[0x829A] = IFDRational(1, round(1 / shutter_s))
    sub[0x829D] = IFDRational(round(f_number * 10), 10)
    sub[0x8827] = iso
    sub[0x9003] = stamp
    sub[0x9011] = f"{offset[:3]}:{offset[3:]}"
    sub[0x9203] = IFDRational(round((ev100 - 5) * 100), 100)
    sub[0x9204] = IFDRational(0, 1)
    sub[0x920A] = IFDRational(57, 10)
    sub[0xA405] = round(scene.focal_35mm)
    place = exif.get_ifd(0x8825)
    latitude, longitude = scene.place
    place[1], place[2] = ("N" if latitude >= 0 else "S"), _degrees(latitude)
    place[3], place[4] = ("E" if longitude >= 0 else "W"), _degrees(longitude)
    place[0x10], place[0x11] = "T", IFDRational(round(heading_deg * 10), 10)
    return exif
