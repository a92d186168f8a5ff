"""Frames as reader modules send them, made from codes, for the tests."""
from functools import reduce

CONFIG = """[frame ascii30]
start = 02
fields = national:10:hex:reversed country:4:hex:reversed data:1 animal:1 skip:10
check = xor then-inverted
end = 03 or 07
"""
# Country 900, national code 250000023921: the sample of a module datasheet.
PUBLISHED = bytes.fromhex("02 31 37 31 41 39 32 35 33 41 33 34 38 33 30 30 31 30 30 30 30 30 30 30"
                          "30 30 30 07 F8 03")


def ascii30(code):
    """The frame of a code of 15 digits."""
    body = (f"{int(code[3:]):010X}"[::-1] + f"{int(code[:3]):04X}"[::-1] + "01" + "0" * 10).encode()
    xor = reduce(lambda a, b: a ^ b, body)
    return b"\x02" + body + bytes([xor, xor ^ 255]) + b"\x03"


assert ascii30("900250000023921") == PUBLISHED
