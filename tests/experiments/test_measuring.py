"""Raw files to the plan's metrics, checked against `listen` and against arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile

from experiments.acoustics.excitation import Excitation, sidecar_text
from experiments.acoustics.listening import listen
from experiments.acoustics.options import Options, Sweep
from experiments.errors import CurveError, LedgerError
from experiments.measuring import measure_contents, measure_files
from experiments.plan import Plan
from tests.raw_files import PLAN, STATED, SWEEP_PLAN, write_recording, write_response


@pytest.fixture
def plan():
    return Plan.from_text(PLAN)


@pytest.fixture
def impulse(tmp_path):
    """One mode: 1 kHz, tau 2 ms, so 5 % after ln(20) tau (published_checks, decay)."""
    path = tmp_path / "impulse.wav"
    t = np.arange(4800) / 48000
    h = 0.5 * np.exp(-t / 0.002) * np.sin(2 * np.pi * 1000 * t)
    soundfile.write(path, np.concatenate([np.zeros(480), h]), 48000, subtype="FLOAT")
    return path


def test_each_metric_comes_from_the_file_of_its_kind(plan, response, distortion, impulse):
    measured = measure_files(plan, [impulse, response, distortion])
    assert [curve.kind for curve in measured.curves] == ["impulse", "response", "distortion"]
    # Butterworth, n = 4: 10 dB down at 1.316074 fc, 6 dB at 1.146295 fc (published_checks).
    assert measured.values["upper_limit"] == pytest.approx(8 * 1.316074, rel=2e-3)
    assert measured.values["upper_limit_6"] == pytest.approx(8000 * 1.146295, rel=2e-3)
    assert measured.values["thd_peak"] == 3.5
    assert measured.values["decay"] == pytest.approx(math.log(20) * 0.002, rel=0.1)
    assert measured.values["mass"] is None
    assert list(measured.values) == list(plan.metrics)


def test_units_convert_and_options_override(plan, response):
    measured = measure_files(plan, [response])
    plain = listen(response).metrics["upper_limit_hz"].value
    six = listen(response, options=Options(drop_db=6.0)).metrics["upper_limit_hz"].value
    assert measured.values["upper_limit"] == pytest.approx(plain / 1000, rel=1e-12)
    assert measured.values["upper_limit_6"] == six
    assert six < plain


def test_a_metric_without_a_file_is_none_and_says_so(plan, response):
    measured = measure_files(plan, [response], hand={"gloss": 3})
    assert measured.values["thd_peak"] is None
    assert measured.values["decay"] is None
    codes = [caution.code for caution in measured.warnings]
    assert codes.count("no_file") == 2
    assert "not_entered" not in codes
    texts = " ".join(caution.text for caution in measured.warnings)
    assert "thd peak: no distortion file was given" in texts


def test_warnings_about_metrics_that_the_plan_lacks_are_left_out(plan, response):
    heard = listen(response)
    assert any(warning.text.startswith("lower limit:") for warning in heard.warnings)
    assert any(warning.text.startswith("break-up:") for warning in heard.warnings)
    texts = [caution.text for caution in measure_files(plan, [response]).warnings]
    assert not any("lower limit" in text or "break-up" in text for text in texts)


def test_a_warning_about_a_metric_of_the_plan_names_the_file(tmp_path, plan):
    short = write_response(tmp_path / "short.txt", corner=90000.0)
    measured = measure_files(plan, [short])
    assert measured.values["upper_limit"] is None
    told = [caution for caution in measured.warnings if caution.code == "beyond_measured_range"]
    # Once for each of the two drops that the plan asks for.
    assert len(told) == 2
    assert all(caution.text.startswith("short.txt: upper limit:") for caution in told)


def test_entered_values_win_and_count_as_typed(plan, response):
    measured = measure_files(plan, [response], hand={"mass": 2.25, "upper_limit": 11.0})
    assert measured.values["mass"] == 2.25
    assert measured.values["upper_limit"] == 11.0
    assert measured.by_hand == {"mass", "upper_limit"}


def test_an_entered_value_must_belong_to_the_plan(plan, response):
    with pytest.raises(LedgerError, match="'shine'"):
        measure_files(plan, [response], hand={"shine": 1.0})
    with pytest.raises(LedgerError, match="mass"):
        measure_files(plan, [response], hand={"mass": "much"})


def test_two_files_of_one_kind_are_refused_by_name(tmp_path, plan, response):
    second = write_response(tmp_path / "again.txt")
    with pytest.raises(CurveError, match=r"response\.txt and again\.txt: found two files"):
        measure_files(plan, [response, second])


def test_a_stated_kind_is_taken(tmp_path, plan):
    path = tmp_path / "numbers.txt"
    path.write_text("\n".join(f"{f} {1 + f / 1000}" for f in range(100, 3000, 100)))
    with pytest.raises(CurveError):
        measure_files(plan, [path])
    for kinds in ("distortion", {path: "distortion"}, {"numbers.txt": "distortion"}):
        assert measure_files(plan, [path], kinds=kinds).curves[0].kind == "distortion"


@pytest.mark.parametrize("make", ["missing", "folder", "empty"])
def test_a_file_that_cannot_be_read_is_one_clear_error(tmp_path, plan, make):
    path = tmp_path / "x.txt"
    if make == "folder":
        path.mkdir()
    elif make == "empty":
        path.write_bytes(b"")
    with pytest.raises(CurveError, match=r"x\.txt") as refusal:
        measure_files(plan, [path])
    assert len(refusal.value.problems) == 1


def test_the_rig_of_the_plan_tells_how_files_are_read(tmp_path, impulse):
    stereo = tmp_path / "stereo.wav"
    samples, rate = soundfile.read(impulse)
    soundfile.write(stereo, np.column_stack([samples * 0, samples]), rate, subtype="FLOAT")
    plan = Plan.from_text(PLAN + "[rig.files.impulse]\nchannel = 2\n")
    measured = measure_files(plan, [stereo], kinds="impulse")
    assert measured.curves[0].options == {"channel": 2}
    alone = measure_files(Plan.from_text(PLAN), [impulse])
    assert measured.values["decay"] == alone.values["decay"]
    told = measure_files(plan, [stereo], kinds="impulse", options=Options(channel=2))
    assert told.values == measured.values


def test_nothing_at_all_gives_nothing(plan):
    measured = measure_files(plan, [])
    assert set(measured.values.values()) == {None}
    assert measured.curves == []


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """What a recording as `recording` gives by a plan that says what was played."""
    take = write_recording(tmp_path_factory.mktemp("swept") / "take.wav")
    return measure_files(Plan.from_text('name = "s"\n' + SWEEP_PLAN), [take])


def test_one_sweep_recording_stands_in_for_every_kind(recording, swept):
    plan, measured = Plan.from_text('name = "s"\n' + SWEEP_PLAN), swept
    assert [curve.kind for curve in measured.curves] == ["sweep"]
    assert all(value is not None for value in measured.values.values())
    # x + b x^2 with amplitude A: HD2 = A b / 2 (published_checks, distortion).
    assert measured.values["thd_peak"] == pytest.approx(100 * 0.5 * 0.02 / 2, rel=0.02)
    assert measured.curves[0].options["sweep"]["stop_hz"] == 20000
    stated = measure_files(
        plan, [recording], kinds="sweep", options=Options(sweep=Sweep(50, 20000, 1))
    )
    assert stated.values == measured.values


def test_a_sidecar_beside_the_recording_says_what_was_played(recording, swept):
    """A plan without a word about sweeps; the file is stored with what the sidecar says."""
    plain = SWEEP_PLAN.partition("[rig.files.sweep]")[0]
    plan = Plan.from_text('name = "s"\n' + plain)
    with pytest.raises(CurveError, match="an impulse response, or a sweep"):
        measure_files(plan, [recording])
    played = Excitation(Sweep(50, 20000, 1, "exponential"), 48000)
    text = sidecar_text(played, "play.wav", b"")
    (recording.parent / "play.sweep.toml").write_text(text, encoding="utf-8")
    for kind in (None, "sweep"):
        measured = measure_files(plan, [recording], kinds=kind)
        assert measured.values == swept.values
        assert measured.curves[0].options["sweep"]["law"] == "exponential"
    files = [(recording.name, recording.read_bytes()), ("play.sweep.toml", text.encode())]
    assert measure_contents(plan, files).values == measured.values
    with pytest.raises(CurveError, match="2 sidecars sent with it"):
        measure_contents(plan, [*files, ("other.sweep.toml", text.encode())])


def test_a_distortion_file_may_support_the_break_up_of_another(plan, tmp_path):
    """A mode at 3 kHz in the response, and HD2 that peaks at half of it."""
    broken = Plan.from_text(PLAN + '\n[metrics.breakup]\nfrom = "response"\nunit = "kHz"\n')
    f = np.geomspace(50, 12000, 400)
    s = 1j * f / 3000
    lifted = 20 * np.log10(np.abs(1 + 0.4 * s / (s * s + s / 8 + 1)))
    (tmp_path / "response.txt").write_text(
        "Hz\tdB\n" + "".join(f"{a:.3f}\t{80 + b:.3f}\n" for a, b in zip(f, lifted, strict=True))
    )
    hd2 = 10 ** (np.interp(2 * f, f, lifted) / 20)
    (tmp_path / "distortion.txt").write_text(
        "Hz\tHD2 (%)\n" + "".join(f"{a:.3f}\t{b:.5f}\n" for a, b in zip(f, hd2, strict=True))
    )
    files = [tmp_path / "response.txt", tmp_path / "distortion.txt"]
    notes = [note for note in measure_files(broken, files).notes if "supports" in note]
    assert len(notes) == 1
    assert notes[0].startswith("distortion.txt: distortion supports the break-up: HD2 peaks at 1")
    alone = measure_files(broken, files[1:])
    assert not any("supports" in note for note in alone.notes)
    # A plan without a break-up is told nothing of it.
    assert not any("break-up" in note for note in measure_files(plan, files).notes)


def test_the_rig_states_what_makes_levels_absolute(recording, response, swept):
    """94 dB SPL reads 0 dBFS: a gain of 1 at full scale is 94 dB. For 2.83 V: + 20 lg(2.83/2)."""
    lines = "sensitivity_dbfs = 0.0\ndrive_volts = 2.0\n[rig.files.response]\ndistance_m = 0.5\n"
    absolute = Plan.from_text('name = "s"\n' + SWEEP_PLAN + lines)
    before, after = swept, measure_files(absolute, [recording])
    shift = after.values["lower"] - before.values["lower"]
    assert shift == pytest.approx(94 + 20 * math.log10(2.83 / 2))
    assert after.values["thd_peak"] == before.values["thd_peak"]
    assert after.curves[0].options["drive_volts"] == 2.0
    (heard,) = measure_files(absolute, [response]).heard
    # 6.0206 dB less at twice the distance.
    assert heard.curves["response"].level[0] == pytest.approx(85 - 6.0206, abs=1e-3)


def test_a_response_file_wins_over_the_sweep(recording, response, swept):
    plan = Plan.from_text('name = "s"\n' + SWEEP_PLAN)
    both = measure_files(plan, [recording, response])
    assert both.values["upper_limit"] == listen(response).metrics["upper_limit_hz"].value
    assert both.values["lower"] == swept.values["lower"]


def test_a_recording_without_its_excitation_is_refused(recording, plan):
    with pytest.raises(CurveError, match=r"take\.wav"):
        measure_files(plan, [recording])


def test_an_ambiguous_file_is_read_once_the_plan_states_its_form(plan, commas):
    with pytest.raises(CurveError, match="decimals or thousands"):
        measure_files(plan, [commas])
    stated = Plan.from_text(STATED)
    for kinds in (None, "response"):
        measured = measure_files(stated, [commas], kinds=kinds)
        # 10 dB below: fc * 9 ** (1 / 8), Butterworth of order 4.
        assert measured.values["upper_limit"] == pytest.approx(0.3 * 9 ** (1 / 8), rel=2e-3)
    assert measured.curves[0].options == {
        "decimal": ",",
        "columns": ("frequency [Hz]", "level [dB]"),
    }


def test_a_file_that_contradicts_the_plan_is_refused_with_its_line(response):
    with pytest.raises(CurveError) as refusal:
        measure_files(Plan.from_text(STATED), [response])
    (problem,) = refusal.value.problems
    assert problem.where == "response.txt:3"
    assert "decimal commas, as [rig.files] states" in problem.expected


def test_every_bad_file_is_named_at_once(plan, tmp_path, response):
    bad = tmp_path / "bad.txt"
    bad.write_text("what is this")
    with pytest.raises(CurveError) as refusal:
        measure_files(plan, [tmp_path / "nothing.txt", response, bad], hand={"gloos": 1.0})
    assert "Entered by hand: mass, gloss." in str(refusal.value)
    wheres = [problem.where for problem in refusal.value.problems]
    assert wheres == [str(tmp_path / "nothing.txt"), "bad.txt:1", "metric"]


def test_files_that_no_metric_uses_are_refused_with_the_kinds_that_are_used(tmp_path, impulse):
    plan = Plan.from_text(
        """
        name = "t"
        [variables.wall]
        kind = "continuous"
        low = 0.4
        high = 0.8
        step = 0.1
        [metrics.limit]
        from = "response"
        measure = "upper_limit_hz"
        goal = "maximise"
        poor = 4000
        good = 14000
        [metrics.gloss]
        from = "hand"
        goal = "watch"
        """
    )
    with pytest.raises(CurveError) as refusal:
        measure_files(plan, [impulse])
    (problem,) = refusal.value.problems
    assert (problem.where, problem.found) == (impulse.name, "the kind impulse")
    assert "are taken from: response" in problem.expected
    assert measure_files(plan, [impulse], hand={"gloss": 2}).values["gloss"] == 2


def test_files_that_were_sent_give_what_files_on_disk_give(plan, response):
    sent = measure_contents(plan, [(response.name, response.read_bytes())], hand={"gloss": 2.0})
    read = measure_files(plan, [response], hand={"gloss": 2.0})
    for name in ("values", "curves", "warnings", "by_hand", "notes"):
        assert getattr(sent, name) == getattr(read, name)
    with pytest.raises(CurveError, match=r"x\.txt"):
        measure_contents(plan, [("x.txt", b"what is this")])
