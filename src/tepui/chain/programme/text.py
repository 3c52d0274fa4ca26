"""Text in service information: which character table, and the characters of the default Latin one.

Theory  A first byte below 0x20 selects the table; without one the text is ISO/IEC 6937 with the euro sign at
        0xA4, where an accent stands before its letter. 0x80 to 0x9F are controls: 0x8A begins a new line.
Source  [EN300468] annex A, tables A.1 (default), A.3 and A.4 (selectors); [ISO6937] for the default table.
        Selectors and default table from memory; the table is checked against an independent library.
Holds   Selectors 0x01-0x0B, 0x10, 0x11, 0x13, 0x15; 0x12 (Korean) and 0x14 (Big5 subset of ISO/IEC 10646) by the
        nearest general codec. Undecodable bytes become the replacement character, never an exception.
"""

import unicodedata

_EIGHT_BIT = {1: 5, 2: 6, 3: 7, 4: 8, 5: 9, 6: 10, 7: 11, 9: 13, 10: 14, 11: 15}  # selector -> ISO/IEC 8859 part
_MULTI_BYTE = {0x11: "utf-16-be", 0x12: "euc_kr", 0x13: "gb2312", 0x14: "utf-16-be", 0x15: "utf-8"}
_NEW_LINES = {0x8A, 0xE08A}
_PARTS = (*range(1, 12), 13, 14, 15, 16)  # ISO/IEC 8859 has no part 12

# ISO/IEC 6937, right half, rows 0xA0 to 0xF0; a space where the table is empty.
_RIGHT_HALF = {
    0xA0: "\u00a0¡¢£€¥ §¤‘“«←↑→↓",
    0xB0: "°±²³×µ¶·÷’”»¼½¾¿",
    0xD0: "—¹®©™♪¬¦    ⅛⅜⅝⅞",
    0xE0: "ΩÆÐªĦ ĲĿŁØŒºÞŦŊŉ",
    0xF0: "ĸæđðħıĳŀłøœßþŧŋ\u00ad",
}
_ACCENTS = dict(
    zip(
        (0xC1, 0xC2, 0xC3, 0xC4, 0xC5, 0xC6, 0xC7, 0xC8, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF),
        "\u0300\u0301\u0302\u0303\u0304\u0306\u0307\u0308\u030a\u0327\u030b\u0328\u030c",
        strict=True,
    )
)


def _default_latin(data: bytes) -> str:
    letters: list[str] = []
    accent = ""
    for byte in data:
        if byte in _ACCENTS:
            accent = _ACCENTS[byte]
            continue
        if byte < 0x80:
            letter = chr(byte)
        elif byte < 0xA0:
            letter = chr(byte)  # a control, taken out later
        else:
            letter = _RIGHT_HALF.get(byte & 0xF0, " " * 16)[byte & 0x0F]
            letter = "\ufffd" if letter == " " else letter
        letters.append(unicodedata.normalize("NFC", letter + accent))
        accent = ""
    return "".join(letters)


def _without_controls(text: str) -> str:
    kept = []
    for letter in text:
        code = ord(letter)
        if code in _NEW_LINES:
            kept.append("\n")
        elif not (code < 0x20 or 0x7F <= code < 0xA0 or 0xE080 <= code < 0xE0A0):
            kept.append(letter)
    return "".join(kept)


def decode_text(data: bytes) -> str:
    """Text of a descriptor, its selector obeyed and its control codes taken out.

    data  the bytes of the field, selector included

    >>> decode_text(bytes([0x15]) + "Märl".encode()), decode_text(b"M\\xc8arl")
    ('Märl', 'Märl')
    """
    if not data:
        return ""
    first = data[0]
    if first >= 0x20:
        return _without_controls(_default_latin(data))
    if first in _EIGHT_BIT:
        return _without_controls(data[1:].decode(f"iso8859-{_EIGHT_BIT[first]}", errors="replace"))
    if first == 0x10 and len(data) >= 3:
        part = int.from_bytes(data[1:3], "big")
        if part in _PARTS:
            return _without_controls(data[3:].decode(f"iso8859-{part}", errors="replace"))
    if first in _MULTI_BYTE:
        return _without_controls(data[1:].decode(_MULTI_BYTE[first], errors="replace"))
    return "\ufffd" * (len(data) - 1)
