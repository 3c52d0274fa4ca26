"""Damage of many kinds, seeded: what turns a sound file into one that a reader must refuse or read, never die of."""

import random

NUMBERS = ("0", "-1", "1", "255", "65536", "4294967295", "9223372036854775808", "1e999", "-0", "NaN", "1e-320", "007")
TOKENS = (
    *("null", "true", "[]", "{}", '""', '"\\ud800"', "\\u0000", "<EOR>", "<EOH>", "<CALL:99999>", "<A:0>", "../", "/"),
    *("\x00", "\r\n", "\ufeff", "±", "−", "..", " MHz", " dBm", "=", "[[stage]]", '"""', "#", ",", ";", "inf", "%"),
)


def damaged(data: bytes, rng: random.Random) -> bytes:
    """A copy of ``data`` with one to four kinds of damage."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        rng.choice(KINDS)(out, rng)
    return bytes(out)


def _place(out: bytearray, rng: random.Random) -> int:
    return rng.randrange(len(out) + 1)


def _flip(out: bytearray, rng: random.Random) -> None:
    for _ in range(rng.choice((1, 1, 3, 20))):
        if out:
            out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)


def _set(out: bytearray, rng: random.Random) -> None:
    if out:
        out[rng.randrange(len(out))] = rng.choice((0, 255, 127, 128, 60, 62, 34, 123, 10, rng.randrange(256)))


def _cut(out: bytearray, rng: random.Random) -> None:
    del out[_place(out, rng) :]


def _lose_head(out: bytearray, rng: random.Random) -> None:
    del out[: rng.randrange(min(len(out), 64) + 1)]


def _remove(out: bytearray, rng: random.Random) -> None:
    start = _place(out, rng)
    del out[start : start + rng.choice((1, 2, 8, 64))]


def _insert(out: bytearray, rng: random.Random) -> None:
    start = _place(out, rng)
    out[start:start] = rng.randbytes(rng.choice((1, 2, 8, 64)))


def _double(out: bytearray, rng: random.Random) -> None:
    start, to = _place(out, rng), _place(out, rng)
    out[to:to] = out[start : start + rng.choice((4, 32, 256))]


def _token(out: bytearray, rng: random.Random) -> None:
    start = _place(out, rng)
    out[start : start + rng.choice((0, 0, 1, 4))] = rng.choice(TOKENS).encode("utf-8", "surrogatepass")


def _number(out: bytearray, rng: random.Random) -> None:
    """Another number in the place of one."""
    places = [i for i, letter in enumerate(out) if 48 <= letter <= 57]
    if places:
        start = end = rng.choice(places)
        while end < len(out) and 48 <= out[end] <= 57:
            end += 1
        out[start:end] = rng.choice(NUMBERS).encode()


def _nest(out: bytearray, rng: random.Random) -> None:
    start = _place(out, rng)
    out[start:start] = rng.choice((b"[", b'{"a":', b"<")) * rng.choice((10, 3000))


def _noise(out: bytearray, rng: random.Random) -> None:
    out[:] = rng.randbytes(rng.choice((0, 1, 7, 44, 300)))


KINDS = (_flip, _flip, _set, _set, _cut, _lose_head, _remove, _insert, _double, _token, _token, _number, _number)
KINDS = (*KINDS, *KINDS, *KINDS, _nest, _noise)
