"""XDR sentences: to which fix a switch, a flow or a pressure belongs."""

import numpy as np
import pytest
from cautions_of_files import sentences
from nmea_text import STATES, T0, epochs, gga, interleave, log_of, read, rmc, sentence, xdr


def changes(log):
    return [(change.time_s - T0, change.section, change.on) for change in log.switch]


def test_a_switch_that_opens_its_burst_belongs_to_the_fix_after_it():
    log = read(interleave(xdr(*STATES), epochs(7)))
    assert changes(log) == [(0.0, 0, False), (1.5, 0, True), (4.5, 0, False)]
    assert log.has_switch


def test_a_switch_that_closes_its_burst_belongs_to_the_fix_before_it():
    log = read(interleave(epochs(7), [gga(f"1300{s:02d}") for s in range(7)], xdr(*STATES)))
    assert changes(log) == [(0.0, 0, False), (1.5, 0, True), (4.5, 0, False)]


def test_a_damaged_first_fix_does_not_turn_the_burst_round():
    text = interleave(epochs(7), xdr(*STATES)).replace("GNRMC,130000", "GNRMC,130090", 1)
    log = read(text)
    assert log.dropped["bad_checksum"] == 1
    assert changes(log) == [(1.0, 0, False), (1.5, 0, True), (4.5, 0, False)]


def test_a_log_that_begins_and_ends_with_xdr_is_doubtful():
    log = read(interleave(xdr(*STATES), epochs(7)) + log_of(*xdr(1)))
    assert changes(log)[-1] == (4.5, 0, False)
    assert "begins and ends with XDR BOOM" in sentences(log)[0]


def test_sentences_sent_only_at_changes_count_from_where_they_stand():
    log = read(log_of(*epochs(4), *xdr(1), *epochs(5, first=4), *xdr(0), *epochs(3, first=9)))
    assert changes(log) == [(3.5, 0, True), (8.5, 0, False)]


def test_on_before_the_first_fix_begins_at_it():
    assert changes(read(log_of(*xdr(1), *epochs(5)))) == [(0.0, 0, True)]


def test_a_change_inside_a_burst_counts_from_the_next_fix():
    log = read(log_of(*epochs(4), rmc("130004.00"), *xdr(1), gga("130004"), *epochs(5, first=5)))
    assert changes(log) == [(4.5, 0, True)]


def test_void_fixes_do_not_place_a_change():
    bodies = [*epochs(2), rmc("130002", status="V"), *xdr(1), rmc("130003", status="V"), *epochs(3, first=4)]
    assert changes(read(log_of(*bodies))) == [(2.5, 0, True)]


def test_sections_and_whole_boom_in_any_case():
    head = ["IIXDR,S,1,,Boom,S,1,,boom1,s,0,,BOOM2"]
    log = read(log_of(*epochs(4), *head, *epochs(4, first=4), *xdr(1, name="BOOM2"), *epochs(2, first=8)))
    assert changes(log) == [(3.5, 0, True), (3.5, 1, True), (3.5, 2, False), (7.5, 2, True)]


def test_several_sentences_of_one_change_are_not_taken_for_bursts():
    sections = [body for number in range(1, 7) for body in xdr(1, name=f"BOOM{number}")]
    log = read(log_of(*epochs(4), *sections, *epochs(4, first=4)))
    assert changes(log) == [(3.5, number, True) for number in range(1, 7)]


@pytest.mark.parametrize("bad", ["S,2,,BOOM", "S,on,,BOOM", "G,1,,BOOM", "R,1,M,FLOW", "R,-1,l,FLOW", "P,30,,PRESSURE"])
def test_a_transducer_that_cannot_be_read_is_noted(bad):
    log = read(log_of(*epochs(3), f"IIXDR,{bad}"))
    assert not log.has_switch
    assert log.flow is None
    assert log.pressure is None
    assert log.notes["unreadable_transducer"] == 1


def test_a_damaged_switch_sentence_is_skipped():
    text = log_of(*epochs(4)) + sentence(xdr(1)[0]).replace("S,1", "S,0") + log_of(*epochs(4, first=4))
    log = read(text)
    assert not log.has_switch
    assert log.dropped["bad_checksum"] == 1


def test_flow_and_pressure_at_the_times_of_their_epochs():
    bodies = [f"IIXDR,R,{0.1 * k:.1f},{'lL'[k % 2]},Flow,P,{250000 + 1000 * k},P,PRESSURE" for k in range(4)]
    log = read(interleave(bodies, epochs(4)))
    assert log.flow.time_s.tolist() == [T0, T0 + 1, T0 + 2, T0 + 3]
    np.testing.assert_allclose(log.flow.value, [0.0, 6.0, 12.0, 18.0], rtol=1e-12)  # L/s x 60
    np.testing.assert_allclose(log.pressure.value, [2.5, 2.51, 2.52, 2.53], rtol=1e-12)  # 1 bar = 100 000 Pa


def test_flow_sent_now_and_then_belongs_to_the_fix_before_it():
    log = read(log_of(*epochs(5), "IIXDR,P,2.8,B,PRESSURE", *epochs(5, first=5)))
    assert log.pressure.time_s.tolist() == [T0 + 4]
    assert log.pressure.value.tolist() == [2.8]


def test_several_values_of_one_epoch_are_averaged():
    log = read(log_of(*epochs(1), "IIXDR,R,0.2,l,FLOW", "IIXDR,R,0.4,l,FLOW"))
    np.testing.assert_allclose(log.flow.value, [18.0], rtol=1e-12)
