"""NMEA 0183 logs: published sentences, framing, epochs and dates."""

import contextlib
import datetime as dt

import numpy as np
import pytest
from cautions_of_files import sentences
from hypothesis import given
from hypothesis import strategies as st
from nmea_text import (
    FLOAT_DEG,
    JOB_DATE,
    KNOT_M_S,
    STATES,
    T0,
    epochs,
    gga,
    interleave,
    log_of,
    read,
    rmc,
    seconds,
    sentence,
    xdr,
)

from coverage_audit.errors import InputError
from coverage_audit.read.tracks.nmea import read_nmea
from coverage_audit.read.tracks.nmea_sentences import WANTED

# --- published sentences ----------------------------------------------------------------------

CLASSIC_GGA = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
CLASSIC_RMC = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"


@pytest.mark.parametrize(
    ("line", "lat", "lon"),
    [
        # classic sentence of countless NMEA descriptions, from memory
        (CLASSIC_GGA, 48 + 7.038 / 60, 11 + 31 / 60),
        # comment in a parser library's source; two blank fields hold one space each
        ("$GPGGA,123519,4807.038,N,01131.324,E,1,08,0.9,545.4,M,46.9,M, , *42", 48 + 7.038 / 60, 11 + 31.324 / 60),
        # gpsd, NMEA Revealed
        (
            "$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M,,*47",
            44.06900600,
            -121.31432683,
        ),
    ],
)
def test_published_gga(line, lat, lon):
    fixes = read(line, JOB_DATE).fixes
    assert fixes.lat_deg[0] == pytest.approx(lat, abs=5e-9)  # the published values have eight decimals
    assert fixes.lon_deg[0] == pytest.approx(lon, abs=5e-9)
    assert fixes.quality.tolist() == [1]
    assert fixes.segment.tolist() == [0]


def test_published_rmc():
    """gpsd, NMEA Revealed: 10 Jan 2017, 44.06899883, -121.31433717."""
    log = read("$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B")
    fixes = log.fixes
    assert log.form == "NMEA 0183"
    assert fixes.time_s.tolist() == [seconds("2017-01-10T00:10:31Z")]
    assert fixes.lat_deg[0] == pytest.approx(44.06899883, abs=5e-9)
    assert fixes.lon_deg[0] == pytest.approx(-121.31433717, abs=5e-9)
    assert fixes.speed_m_s[0] == pytest.approx(0.146 * KNOT_M_S, abs=1e-12)
    assert np.isnan(fixes.course_deg[0])
    assert log.cautions == ()


def test_published_vtg():
    """gpsd, NMEA Revealed: 2.550 kn = 4.7226 km/h; the sentence rounds it to 4.724 km/h."""
    fixes = read(sentence(rmc("130000", speed="", course="")) + "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34").fixes
    assert fixes.speed_m_s[0] * 3.6 == pytest.approx(4.7226, abs=1e-12)
    assert fixes.course_deg[0] == 220.86


def test_speed_in_km_h_serves_where_knots_are_missing():
    fixes = read(log_of(rmc("130000", speed="", course=""), "GPVTG,220.86,T,,M,,N,9.0,K,A")).fixes
    assert fixes.speed_m_s[0] == pytest.approx(2.5, abs=1e-12)


@pytest.mark.parametrize("line", [CLASSIC_GGA, CLASSIC_RMC])
@pytest.mark.parametrize("place", [10, 25])
def test_one_changed_character_is_a_bad_checksum(line, place):
    changed = line[:place] + ("8" if line[place] != "8" else "9") + line[place + 1 :]
    with pytest.raises(InputError, match=r"no sound sentence .*1 have a bad checksum"):
        read(changed, JOB_DATE)


def test_the_misprinted_sentence_of_a_public_page_is_rejected():
    """A published GGA whose stated sum is 42 where 48 is right."""
    text = "$GPGGA,121505,4807.038,N,01131.324,E,1,08,0.9,133.4,M,46.9,M, , *42"
    log = read(text + "\r\n" + CLASSIC_RMC)
    assert log.dropped["bad_checksum"] == 1
    assert len(log.fixes) == 1


def test_published_xdr_of_others_is_no_switch():
    """gpsd, NMEA Revealed (attitude), and a public README (weather): nothing here concerns a boom."""
    text = (
        "$HCXDR,A,171,D,PITCH,A,-37,D,ROLL,G,367,,MAGX,G,2420,,MAGY,G,-8984,,MAGZ*41\r\n"
        "$WIXDR,C,24.59,C,TEMP,P,1.02412,B,BARO*5E\r\n"
    )
    log = read(text + CLASSIC_RMC)
    assert (log.dropped["bad_checksum"], log.has_switch, log.pressure, log.notes) == (0, False, None, {})


# --- checksums and framing --------------------------------------------------------------------


def test_lower_case_checksum():
    log = read("$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7b")
    assert len(log.fixes) == 1


def test_checksums_missing_from_the_whole_file_are_accepted_and_said():
    log = read("\n".join("$" + body for body in epochs(3)))
    assert len(log.fixes) == 3
    assert "no sentence has a checksum" in sentences(log)[0]


def test_one_missing_checksum_among_others_is_skipped_and_counted():
    log = read(log_of(*epochs(2)) + "$" + rmc("130002.00") + "\r\n")
    assert len(log.fixes) == 2
    assert log.notes == {"no_checksum": 1}


def test_sentences_are_found_behind_binary_cut_and_fused_ones():
    text = (
        "\xb5\x62\x01\x07\x00$\x00\xff"
        + sentence(rmc("130000.00"))
        + "$GNRMC,130001.00,A,4336.0"  # cut, and fused to the next
        + sentence(rmc("130002.00"))[:-2]
        + sentence(rmc("130003.00"))
        + "$PASHR,POS,1,2\r\n$PXYZ,9*00\r\n!AIVDM,1,1,,A,1,0*00\r\n# remark\r\n"
        + "\x00\x01$\x02\x03"
        + sentence(rmc("130004.00"))
        + "$GNRMC,130005.00,A,43"
    )
    log = read(text)
    assert (log.fixes.time_s - T0).tolist() == [0.0, 2.0, 3.0, 4.0]
    assert log.dropped["bad_checksum"] == 0
    assert log.notes == {"no_checksum": 2}


def test_a_log_longer_than_one_block_is_read_whole(monkeypatch):
    bodies = epochs(40)
    whole = read(log_of(*bodies))
    monkeypatch.setattr("coverage_audit.read.tolerances.SCAN_BLOCK_BYTES", 100)
    parts = read(log_of(*bodies))
    assert parts.fixes.time_s.tolist() == whole.fixes.time_s.tolist() == [T0 + second for second in range(40)]


# --- epochs -----------------------------------------------------------------------------------


@pytest.mark.parametrize("order", ["RMC GGA GLL VTG", "VTG GGA GLL RMC", "GLL RMC VTG GGA"])
def test_sentences_of_one_time_are_one_fix_in_any_order(order):
    def burst(second):
        time = f"1300{second:02d}"
        bodies = {
            "RMC": rmc(time + ".00", speed="", course=""),
            "GGA": gga(time),
            "GLL": f"GNGLL,4336.0000,N,11612.0000,W,{time}.000,A,A",
            "VTG": f"GNVTG,{10 * second}.0,T,,M,3.6,N,,K,A",
        }
        return [bodies[kind] for kind in order.split()]

    log = read(log_of(*burst(1), *burst(2), *burst(3)))
    assert (log.fixes.time_s - T0).tolist() == [1.0, 2.0, 3.0]
    assert log.fixes.course_deg.tolist() == [10.0, 20.0, 30.0]
    np.testing.assert_allclose(log.fixes.speed_m_s, 3.6 * KNOT_M_S, rtol=1e-12)
    assert log.fixes_read == 3


def test_sentences_that_lag_one_epoch_behind_still_join_it():
    bodies = [rmc("130001"), gga("130000", quality="1"), rmc("130002"), gga("130001"), rmc("130003"), gga("130002")]
    log = read(log_of(*bodies))
    assert (log.fixes.time_s - T0).tolist() == [1.0, 0.0, 2.0, 3.0]
    assert log.fixes.quality.tolist() == [4, 1, 4, 1]  # the last from the mode letter A of its RMC


def test_the_position_written_with_the_most_digits_is_taken():
    fine = "GNGLL,4336.0000123,N,11612.0000000,W,130000.00,A,A"
    fixes = read(log_of(gga("130000.00", "4336.0000"), fine, rmc("130000.00", "4336.0001"))).fixes
    assert fixes.lat_deg[0] == pytest.approx(43.6 + 0.0000123 / 60, abs=FLOAT_DEG)


def test_among_equal_digits_gga_comes_first():
    bodies = [gga("130000", "4336.0003"), rmc("130000", "4336.0002"), "GNGLL,4336.0001,N,11612.0000,W,130000,A"]
    for turn in range(3):
        fixes = read(log_of(*bodies[turn:], *bodies[:turn])).fixes
        assert fixes.lat_deg[0] == pytest.approx(43.6 + 0.0003 / 60, abs=FLOAT_DEG)


def test_quality_satellites_hdop_and_gst():
    gns = "GNGNS,130002,4336.0000,N,11612.0000,W,RDN,15,0.6,820.0,-20.0,,"
    gsa = "GNGSA,A,3,01,02,03,04,05,,,,,,,,1.9,1.1,1.5"
    gst = "GNGST,130000,0.5,,,,0.03,0.04,0.1"
    gga_without_hdop = "GNGGA,130001,4336.0000,N,11612.0000,W,5,09,,820.0,M,-20.0,M,,"
    fixes = read(log_of(gga("130000"), gst, gsa, gga_without_hdop, gsa, rmc("130001"), gns, rmc("130002"))).fixes
    assert fixes.quality.tolist() == [4, 5, 4]
    assert fixes.satellites.tolist() == [12, 9, 15]
    assert fixes.hdop.tolist() == [0.7, 1.1, 0.6]
    assert fixes.gst_m[0] == pytest.approx(0.05, abs=1e-15)
    assert np.isnan(fixes.gst_m[1:]).all()


@pytest.mark.parametrize(
    "void",
    [
        [rmc("130001", status="V")],
        [gga("130001", quality="0")],
        ["GNGLL,4336.0000,N,11612.0000,W,130001,V,N"],
        ["GNGNS,130001,4336.0000,N,11612.0000,W,NNN,00,,,,,"],
        [rmc("130001", mode="N")],
        [rmc("130001", status="V"), gga("130001")],
        [rmc("130001"), gga("130001", quality="0")],
        ["GNGGA,130001,,,,,1,,,,M,,M,,"],
        [rmc("130001").replace(",N,", ",,")],
        [rmc("130001", "4360.0000")],
        [gga("130001", quality="23")],
    ],
)
def test_a_void_epoch_is_dropped_and_counted(void):
    log = read(log_of(rmc("130000"), *void, rmc("130002")))
    assert (log.fixes.time_s - T0).tolist() == [0.0, 2.0]
    assert log.dropped["no_position"] == 1
    assert log.fixes_read == 3


def test_a_second_talker_without_a_fix_does_not_void_the_epoch():
    log = read(log_of(gga("130000", talker="GP"), gga("130000", quality="0", talker="GL"), rmc("130000")))
    assert len(log.fixes) == 1
    assert log.fixes.quality.tolist() == [4]


def test_out_of_range_and_zero_positions_are_counted_apart():
    zero = "GNRMC,130001,A,0000.000,N,00000.000,E,,,300526,,,A"
    log = read(log_of(rmc("130000"), zero, rmc("130002", "9100.0000")))
    assert log.dropped == {"bad_checksum": 0, "no_position": 0, "out_of_range": 1, "zero_position": 1, "no_time": 0}


def test_a_bad_optional_field_costs_no_fix():
    log = read(log_of(rmc("130000", speed="fast"), rmc("130001", course="400"), rmc("130002", speed="-1")))
    assert len(log.fixes) == 3
    assert log.notes == {"unreadable_field": 3}


@pytest.mark.parametrize(("quality", "word"), [("6", "dead reckoning"), ("7", "by hand"), ("8", "simulated")])
def test_positions_that_were_not_measured_are_said(quality, word):
    log = read(log_of(gga("130000", quality=quality), rmc("130001")))
    assert log.fixes.quality.tolist() == [int(quality), 1]
    assert log.notes == {f"quality_{quality}": 1}
    assert word in sentences(log)[0]


def test_sentences_without_time_make_no_epoch():
    log = read(log_of(rmc(""), rmc("130000"), rmc("250000"), "GNGLL,4336.0000,N,11612.0000,W"))
    assert log.fixes_read == 1
    assert log.notes == {"sentence_without_time": 3}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (log_of(rmc("")), "has no times"),
        (log_of("GNVTG,1.0,T,,M,1.0,N,,K,A"), "has no times"),
        (log_of(rmc("130000", status="V")), "every epoch has no valid position"),
        (log_of("GNRMC,130001,A,0000.000,N,00000.000,E,,,300526,,,A"), "every epoch is exactly 0, 0"),
        (log_of(rmc("130000", "9500.0")), "every epoch lies outside"),
        (log_of(gga("130000")), r"set job\.date"),
    ],
)
def test_unusable_logs_are_refused_in_one_line(text, message):
    with pytest.raises(InputError, match=message) as caught:
        read(text)
    assert str(caught.value).startswith("track.nmea: ")
    assert "\n" not in str(caught.value)


# --- dates ------------------------------------------------------------------------------------


def test_a_date_that_comes_late_reaches_back_over_midnight():
    bodies = [gga("235959"), gga("000000"), gga("000001"), rmc("000002", date="310526"), gga("000003")]
    log = read(log_of(*bodies))
    assert (log.fixes.time_s - seconds("2026-05-31T00:00:00Z")).tolist() == [-1.0, 0.0, 1.0, 2.0, 3.0]


def test_a_date_from_zda():
    log = read(log_of(gga("130000"), "GNZDA,130001.00,30,05,2026,00,00", gga("130001")))
    assert (log.fixes.time_s - T0).tolist() == [0.0, 1.0]
    assert log.fixes_read == 2


def test_a_zda_that_runs_ahead_of_its_fix_begins_no_epoch():
    """Seen in a real receiver: ZDA ends the burst with the time of the fix after the next."""
    bodies = [
        gga("235958"),
        "GPZDA,000000.00,31,05,2026,00,00",
        *xdr(1),
        gga("235959"),
        *xdr(1),
        gga("000000"),
        *xdr(0),
    ]
    log = read(log_of(*bodies))
    assert (log.fixes.time_s - seconds("2026-05-31T00:00:00Z")).tolist() == [-2.0, -1.0, 0.0]
    assert [change.time_s - log.fixes.time_s[0] for change in log.switch] == [0.0, 1.5]


def test_a_log_without_date_takes_job_date_and_goes_over_midnight():
    void = gga("235957", quality="0")
    log = read(log_of(void, gga("235958"), gga("235959"), gga("000000"), gga("000001")), JOB_DATE)
    assert (log.fixes.time_s - seconds("2026-05-31T00:00:00Z")).tolist() == [-2.0, -1.0, 0.0, 1.0]


def test_dates_of_void_epochs_are_not_believed():
    """Receivers without a fix send the date of their last shutdown, or a made-up one."""
    void = rmc("081500", status="V", date="050180")
    log = read(log_of(void, gga("130000"), rmc("130001"), void, gga("130002")))
    assert (log.fixes.time_s - T0).tolist() == [0.0, 1.0, 2.0]


def test_a_step_back_over_midnight_keeps_its_date():
    log = read(log_of(rmc("000000", date="310526"), gga("235959"), gga("000001")))
    assert (log.fixes.time_s - seconds("2026-05-31T00:00:00Z")).tolist() == [0.0, -1.0, 1.0]


@pytest.mark.parametrize(
    ("logged", "job_date", "right"),
    [
        ("230394", None, "2013-11-06"),  # 1024 weeks are 7168 days
        ("141006", JOB_DATE, "2026-05-30"),
        ("141006", dt.date(2026, 5, 29), "2026-05-30"),  # the local date is a day behind
    ],
)
def test_a_rolled_over_week_counter_is_set_right_and_said(logged, job_date, right):
    log = read(log_of(rmc("130000", date=logged), gga("130001")), job_date)
    assert log.fixes.time_s[0] == seconds(f"{right}T13:00:00Z")
    assert log.fixes.time_s[1] - log.fixes.time_s[0] == 1.0
    assert "week counter" in sentences(log)[0]
    assert right in sentences(log)[0]


def test_a_date_that_no_receiver_can_mean_is_not_believed():
    log = read(log_of(gga("130000"), "GNZDA,130000.00,31,12,9999,00,00"), JOB_DATE)
    assert log.fixes.time_s.tolist() == [T0]


def test_an_old_date_is_kept_and_asked_about():
    log = read(log_of(rmc("130000", date="141006")))
    assert log.fixes.time_s[0] == seconds("2006-10-14T13:00:00Z")
    assert "set job.date" in sentences(log)[0]


def test_a_job_date_that_differs_from_the_log_is_said():
    log = read(log_of(rmc("130000")), dt.date(2026, 6, 3))
    assert log.fixes.time_s[0] == T0
    assert "job.date is 2026-06-03, but the log itself says 2026-05-30" in sentences(log)[0]


def test_two_captures_in_one_file_keep_their_dates():
    log = read(log_of(rmc("151606", date="260526"), rmc("045849", date="270526"), gga("045850")))
    expected = ["2026-05-26T15:16:06Z", "2026-05-27T04:58:49Z", "2026-05-27T04:58:50Z"]
    assert log.fixes.time_s.tolist() == [seconds(text) for text in expected]


# --- any bytes --------------------------------------------------------------------------------

LONG_LOG = interleave(epochs(7), [gga(f"1300{s:02d}") for s in range(7)], xdr(*STATES)).encode()


@given(st.data())
def test_a_mutated_log_is_read_or_refused(data):
    """Whatever bytes change, the reader answers with a consistent log or an InputError."""
    text = bytearray(LONG_LOG)
    for _ in range(data.draw(st.integers(1, 6))):
        start = data.draw(st.integers(0, len(text)))
        text[start : start + data.draw(st.integers(0, 40))] = data.draw(st.binary(max_size=6))
    with contextlib.suppress(InputError):
        log = read_nmea(bytes(text), "track.nmea")
        assert log.fixes_read == len(log.fixes) + sum(log.dropped.values()) - log.dropped["bad_checksum"]


FIELD = st.text("0123456789.-+eANSVWRDE *xinf", max_size=9)


@given(st.lists(st.tuples(st.sampled_from(sorted(WANTED)), st.lists(FIELD, max_size=18))))
def test_sound_sentences_with_any_fields_are_read_or_refused(rows):
    text = log_of(rmc("130000"), *(f"GN{kind},{','.join(fields)}".replace("*", "") for kind, fields in rows))
    log = read(text, JOB_DATE)
    assert np.isfinite(log.fixes.time_s).all()
    assert (np.abs(log.fixes.lat_deg) <= 90).all()
