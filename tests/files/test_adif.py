"""ADIF in and out: nothing is lost, whatever the fields are called."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tepui.files.adif import adif_text, parse_adif
from tepui.ground.errors import FormatError
from tepui.logbook.contacts import contact_of, fields_of

# After the ADI sample in the text of [ADIF] 3.1, from memory: a header with a user's own field, records in any case,
# application-defined fields, a value that holds marks of its own, blanks and line ends between the fields.
SAMPLE = b"""Generated on 2026-01-31 for <nobody>

<adif_ver:5>3.1.4
<programid:7>Monolog
<USERDEF1:8:N>QRP_ARCI
<USERDEF2:19:E>SweaterSize,{S,M,L}
<EOH>

<qso_date:8>20260131 <time_on:4>1523 <call:5>Q2DEF <band:3>23CM <freq:8>1286.000 <mode:3>ATV
 <rst_sent:2>P4 <rst_rcvd:2>P5 <gridsquare:6>HI46ob <my_gridsquare:6>HI45kt <sweatersize:1>M
 <app_monolog_compression:3:n>off <comment:15>a <b:3> in <EOR> <eor>

<QSO_DATE:8:D>20260201<TIME_ON:6:T>061500<CALL:7>Q3GHJ/P<SWL:1:B>Y<Unheard_Of:4:S>x y
<NOTES:9:M>two
lines
<EOR>
"""


def test_published_sample_is_read_field_by_field():
    read = parse_adif(SAMPLE, name="sample.adi")
    first, second = read.records
    assert read.header == (
        ("adif_ver", None, "3.1.4"),
        ("programid", None, "Monolog"),
        ("USERDEF1", "N", "QRP_ARCI"),
        ("USERDEF2", "E", "SweaterSize,{S,M,L}"),
    )
    assert first[-1] == ("comment", None, "a <b:3> in <EOR>"[:15])
    assert ("app_monolog_compression", "n", "off") in first
    assert second[4] == ("Unheard_Of", "S", "x y\n")
    assert second[5] == ("NOTES", "M", "two\nlines")


def test_law_what_is_read_is_written_again_word_for_word():
    read = parse_adif(SAMPLE.replace(b"<comment:15>", b"<comment:16>"), name="sample.adi")
    text = adif_text(read.records, header=read.header, program_version="1", utc="2026-02-01T00:00:00Z")
    again = parse_adif(text.encode(), name="again.adi")
    assert again.records == read.records
    assert [field for field in again.header if field[0].startswith("USERDEF")] == list(read.header[2:])
    assert again.remarks == ()


def test_law_the_log_reads_what_it_knows_and_keeps_the_rest():
    read = parse_adif(SAMPLE, name="sample.adi")
    body, utc, remarks = contact_of(read.records[0], header=read.header, where="record 1")
    assert utc == "2026-01-31T15:23:00Z"
    assert (body["call"], body["frequency_hz"], body["mode"]) == ("Q2DEF", 1286e6, "ATV")
    assert (body["report_sent"], body["report_received"]) == ("P4", "P5")
    assert (body["locator"], body["own_locator"], body["direction"]) == ("HI46ob", "HI45kt", "both")
    assert remarks == ()
    assert fields_of(body, utc) == list(read.records[0])
    assert contact_of(read.records[1], header=(), where="record 2")[0]["direction"] == "received"


def test_law_an_edit_changes_its_own_field_only():
    read = parse_adif(SAMPLE, name="sample.adi")
    body, utc, _ = contact_of(read.records[0], header=read.header, where="record 1")
    written = fields_of({**body, "report_sent": "P5", "locator": None, "direction": "sent"}, utc)
    before = {name: value for name, _, value in read.records[0]}
    after = {name: value for name, _, value in written}
    assert after.pop("rst_sent") == "P5"
    assert after.pop("APP_TEPUI_DIRECTION") == "sent"
    assert after == {name: value for name, value in before.items() if name not in ("rst_sent", "gridsquare")}
    again, at, _ = contact_of(written, header=(), where="again")
    assert (again["report_sent"], again["locator"], again["direction"], at) == ("P5", None, "sent", utc)


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1"])
@pytest.mark.parametrize("of_bytes", [True, False])
def test_law_lengths_in_bytes_and_in_characters_are_told_apart(encoding, of_bytes):
    value = "grüße über Öland"
    length = len(value.encode(encoding)) if of_bytes else len(value)
    text = f"<CALL:5>Q2DEF<NOTES:{length}>{value}<MODE:3>ATV<EOR>"
    read = parse_adif(text.encode(encoding), name="a.adi")
    assert read.records == ((("CALL", None, "Q2DEF"), ("NOTES", None, value), ("MODE", None, "ATV")),)
    assert read.remarks == ()


names = st.text("ABCXYZ_0123456789", min_size=1, max_size=12).filter(lambda name: name not in ("EOR", "EOH"))
values = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
fields = st.tuples(names, st.sampled_from([None, "S", "N", "m"]), values)


@given(st.lists(st.lists(fields, min_size=1, max_size=6), min_size=1, max_size=4))
def test_law_any_fields_come_back(records):
    text = adif_text(records, program_version="1", utc="2026-02-01T00:00:00Z")
    read = parse_adif(text.encode(), name="a.adi")
    assert read.records == tuple(tuple(record) for record in records)


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "is no ADIF file"),
        (b"Dear Sir", "is no ADIF file"),
        (b"<?xml version='1.0'?><ADX></ADX>", "XML form"),
        (b"<CALL:5>Q2", "field CALL promises 5 characters, and the file ends after 2"),
        (b"<CALL>Q2DEF<EOR>", "record 1 has '<CALL>Q2DEF<EOR>' where a field"),
        (b"<CALL:x>Q2DEF<EOR>", "where a field"),
        (b"<CALL:5>Q2DEF<EOR><EOH>", "a header comes first"),
        (b"<CALL:99999999999>Q2DEF<EOR>", "where a field"),
    ],
)
def test_limit_what_is_damaged_is_one_sentence(data, sentence):
    with pytest.raises(FormatError, match=sentence) as refusal:
        parse_adif(data, name="a.adi")
    assert str(refusal.value).endswith(".")


@pytest.mark.parametrize(
    ("record", "sentence"),
    [
        ([("QSO_DATE", None, "20260131")], "has no CALL"),
        ([("CALL", None, "Q2DEF")], "must say when it was"),
        ([("CALL", None, "Q2DEF"), ("QSO_DATE", None, "20260231")], "QSO_DATE as YYYYMMDD"),
    ],
)
def test_limit_a_record_of_nobody_or_no_day_is_refused(record, sentence):
    with pytest.raises(FormatError, match=sentence):
        contact_of(record, header=(), where="record 1")


def test_law_a_record_without_its_end_is_kept_with_a_remark():
    read = parse_adif(b"<CALL:5>Q2DEF stray", name="a.adi")
    assert read.records == ((("CALL", None, "Q2DEF"),),)
    assert len(read.remarks) == 2
