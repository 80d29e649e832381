"""The files that the invented platform's two programs leave behind.

The formats are made up for the demo; they belong to no existing program. Sessions before the
change of computer wrote *tabs*, later ones *semicolons*:

=============  =================================  ==========================================
..             tabs                               semicolons
=============  =================================  ==========================================
encoding       ASCII                              Latin-1, or UTF-8 with a byte-order mark
line ends      LF                                 CR LF
comments       ``*``                              ``#``
decimal mark   point                              comma
frequency      Hz                                 kHz
response       level and phase                    level and phase, header words
distortion     percent, THD and harmonics         harmonics in dB of the fundamental
gaps           empty                              ``---``
=============  =================================  ==========================================

Impulse responses are 24-bit WAV files at 48 kHz.
"""

from __future__ import annotations

import io
import wave

import numpy as np
import numpy.typing as npt

from demo_trials.rig import DISTORTION_GRID, RATE, RESPONSE_GRID, Traces

__all__ = ["INVENTED", "semicolons", "tabs", "wav"]

INVENTED = "invented data for the coneloop demo: no real driver was measured"
"""First comment line of every text file."""


def tabs(traces: Traces, title: str) -> dict[str, bytes]:
    """Write one measurement as the platform's first program did.

    Parameters
    ----------
    traces : Traces
        What was measured.
    title : str
        Second comment line.

    Returns
    -------
    dict of str to bytes
        File name to content: ``response.txt``, ``distortion.txt``.
    """
    head = [f"* {INVENTED}", f"* {title}"]
    response = [*head, "* Hz\tdB\tdeg"]
    response += [
        f"{hertz:.2f}\t{level:.2f}\t{phase:.1f}"
        for hertz, level, phase in zip(RESPONSE_GRID, traces.level, traces.phase, strict=True)
    ]
    total = np.sqrt(np.nansum(traces.percent**2, axis=0))
    distortion = [
        *head,
        "* fundamental, harmonics in percent of it",
        "Hz\tTHD %\tHD2 %\tHD3 %\tHD4 %\tHD5 %",
    ]
    distortion += [
        "\t".join([f"{hertz:.2f}", f"{thd:.3f}", *(_cell(value, ".3f", "") for value in column)])
        for hertz, thd, column in zip(DISTORTION_GRID, total, traces.percent.T, strict=True)
    ]
    return {
        "response.txt": ("\n".join(response) + "\n").encode("ascii"),
        "distortion.txt": ("\n".join(distortion) + "\n").encode("ascii"),
    }


def semicolons(traces: Traces, title: str, encoding: str) -> dict[str, bytes]:
    """Write one measurement as the platform's second program did.

    Parameters
    ----------
    traces : Traces
        What was measured.
    title : str
        Second comment line.
    encoding : {'latin-1', 'utf-8-sig'}
        How the text is encoded.

    Returns
    -------
    dict of str to bytes
        File name to content: ``response.csv``, ``distortion.csv``.
    """
    head = [f"# {INVENTED}", f"# {title}"]
    response = [*head, "frequency (kHz);level (dB);phase (°)"]
    response += [
        f"{hertz / 1000.0:.5f};{level:.2f};{phase:.1f}".replace(".", ",")
        for hertz, level, phase in zip(RESPONSE_GRID, traces.level, traces.phase, strict=True)
    ]
    relative = 20.0 * np.log10(traces.percent / 100.0)
    distortion = [
        *head,
        "# harmonics in dB relative to the fundamental",
        "frequency (kHz);fundamental (dB);HD2 (dB);HD3 (dB);HD4 (dB);HD5 (dB)",
    ]
    distortion += [
        ";".join(
            [f"{hertz / 1000.0:.5f}", f"{level:.2f}", *(_cell(v, ".2f", "---") for v in column)]
        ).replace(".", ",")
        for hertz, level, column in zip(
            DISTORTION_GRID, traces.fundamental, relative.T, strict=True
        )
    ]
    return {
        "response.csv": ("\r\n".join(response) + "\r\n").encode(encoding),
        "distortion.csv": ("\r\n".join(distortion) + "\r\n").encode(encoding),
    }


def wav(samples: npt.NDArray[np.float64]) -> bytes:
    """Write samples (1 for full scale) as a 24-bit mono WAV file at 48 kHz."""
    steps = np.round(np.clip(samples, -1.0, 1.0 - 2.0**-23) * 2.0**23).astype("<i4")
    packed = steps.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(3)
        file.setframerate(RATE)
        file.writeframes(packed)
    return buffer.getvalue()


def _cell(value: float, form: str, gap: str) -> str:
    """One number, or the sign for a gap."""
    return gap if np.isnan(value) else format(value, form)
