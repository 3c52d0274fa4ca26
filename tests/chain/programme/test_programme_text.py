"""Characters of service information."""

import pytest

from tepui.chain.programme.text import decode_text

# What GNU libc 2.36 iconv makes of ISO_6937, bytes 0xA0 to 0xFF without the accents; "-" where it knows none. The
# euro sign at 0xA4 is the addition of EN 300 468 annex A to that table and therefore missing there.
ICONV = {
    0xA0: "\u00a0¡¢£-¥-§¤‘“«←↑→↓",
    0xB0: "°±²³×µ¶·÷’”»¼½¾¿",
    0xD0: "—¹®©™♪¬¦----⅛⅜⅝⅞",
    0xE0: "ΩÆÐªĦ-ĲĿŁØŒºÞŦŊŉ",
    0xF0: "ĸæđðħıĳŀłøœßþŧŋ\u00ad",
}
ICONV_ACCENTS = {
    b"\xc1e": "è",
    b"\xc2e": "é",
    b"\xc3e": "ê",
    b"\xc5e": "ē",
    b"\xc7e": "ė",
    b"\xc8e": "ë",
    b"\xcee": "ę",
    b"\xcfe": "ě",
}


def test_tool_the_default_table_is_that_of_an_independent_library():
    for row, letters in ICONV.items():
        for column, letter in enumerate(letters):
            if letter != "-":
                assert decode_text(bytes([0x41, row + column])) == "A" + letter
    for data, letter in ICONV_ACCENTS.items():
        assert decode_text(data) == letter


# [EN300468] annex A: tables A.1 (euro sign), A.3 and A.4 (selectors); from memory. The codecs are Python's.
@pytest.mark.parametrize(
    ("data", "text"),
    [
        (b"", ""),
        (b"Marl Bay", "Marl Bay"),
        (b"5 \xa4", "5 €"),
        (b"\x01" + "Гора".encode("iso8859-5"), "Гора"),
        (b"\x05" + "Dağ".encode("iso8859-9"), "Dağ"),
        (b"\x09" + "ąž".encode("iso8859-13"), "ąž"),
        (b"\x0b" + "10 €".encode("iso8859-15"), "10 €"),
        (b"\x10\x00\x02" + "Háj".encode("iso8859-2"), "Háj"),
        (b"\x11" + "桌山".encode("utf-16-be"), "桌山"),
        (b"\x12" + "산".encode("euc_kr"), "산"),
        (b"\x13" + "桌山".encode("gb2312"), "桌山"),
        (b"\x15" + "Märl Bay".encode(), "Märl Bay"),
        (b"One\x8aTwo \x86three\x87", "One\nTwo three"),
    ],
)
def test_published_selectors(data, text):
    assert decode_text(data) == text


@pytest.mark.parametrize(
    "data", [b"\x08abc", b"\x10\x00\x0cabc", b"\x10", b"\x1f\x01ab", b"\x15\xff", b"\xc8", b"\xa6"]
)
def test_limit_undecodable_bytes_never_stop_the_reader(data):
    text = decode_text(data)
    assert len(text) <= len(data)
    assert set(text) <= {"\ufffd"}
