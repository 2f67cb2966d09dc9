"""Signals with known answers, and files of them in every form of COMTRADE, written here by the standard's rules."""

from array import array
from pathlib import Path

import numpy as np

from benchctl.capture.recording import Channel, Recording
from benchctl.core.ruleset import Quantity

SHIFT = {"a": 0.0, "b": -2.0 * np.pi / 3.0, "c": 2.0 * np.pi / 3.0}


def column(values):
    return array("d", np.asarray(values, dtype=float).tolist())


def times(length_s, rate):
    return np.arange(round(length_s * rate)) / rate


def angle(t, hertz):
    """Phase angle of a frequency that is a number or an array at the times t (trapezoids)."""
    f = np.broadcast_to(np.asarray(hertz, dtype=float), t.shape)
    return 2.0 * np.pi * np.concatenate([[0.0], np.cumsum((f[1:] + f[:-1]) / 2.0 * np.diff(t))])


def sine(t, rms, hertz, shift=0.0):
    return np.asarray(rms) * np.sqrt(2.0) * np.sin(angle(t, hertz) + shift)


def recording(t, **waves):
    """Channels by name: volts_a, amps_b, volts_ab …"""
    channels = [
        Channel(name, Quantity(name.split("_")[0]), name.split("_")[1], True, column(v)) for name, v in waves.items()
    ]
    return Recording("made", "made", column(t), tuple(channels))


def three(t, volts, amps, hertz):
    """Three phases: volts to neutral and amps in phase with them."""
    waves = {f"volts_{p}": sine(t, volts, hertz, s) for p, s in SHIFT.items()}
    return waves | {f"amps_{p}": sine(t, amps, hertz, s) for p, s in SHIFT.items()}


def write_comtrade(
    folder: Path, t, waves, rate, form="ASCII", revision="2013", name="made", one=False,
    started="01/03/2026,10:00:05.000000", units=None, side="P", ratio=(1, 1), stamps=False, more="",
) -> Path:  # fmt: skip
    """A CFG with its DAT, or a CFF. waves: name → array; the phase is the last letter of the name."""
    folder.mkdir(exist_ok=True)
    names = list(waves)
    top = {"ASCII": 90000, "BINARY": 32000, "BINARY32": 2_000_000_000, "FLOAT32": 1}[form]
    scales = [1.0 if form == "FLOAT32" else float(np.max(np.abs(waves[n]))) / top or 1.0 for n in names]
    lines = ["Yard,Recorder" + ("" if revision == "1991" else f",{revision}"), f"{len(names)},{len(names)}A,0D"]
    for k, n in enumerate(names, 1):
        unit = (units or {}).get(n, "A" if n.lower().startswith(("i", "amps")) else "V")
        tail = "" if revision == "1991" else f",{ratio[0]},{ratio[1]},{side}"
        lines.append(f"{k},{n},{n[-1].upper()},set,{unit},{scales[k - 1]:.12g},0,0,-99999,99999{tail}")
    lines += ["50", "0" if stamps else "1", f"{0 if stamps else rate},{len(t)}", started, started, form]
    lines += [] if revision == "1991" else ["1"]
    lines += ["+1,+1", "B,3"] if revision == "2013" else []
    raw = [np.asarray(waves[n]) / s for n, s in zip(names, scales, strict=True)]
    data = _data(np.round(np.asarray(t) * 1e6).astype("<u4"), raw, form)
    config = ("\r\n".join(lines) + "\r\n" + more).encode()
    if one:
        path = folder / f"{name}.cff"
        kind = form if form == "ASCII" else f"{form}: {len(data)}"
        heads = [b"--- file type: CFG ---\r\n", b"--- file type: INF ---\r\n\r\n--- file type: HDR ---\r\n\r\n"]
        path.write_bytes(heads[0] + config + heads[1] + f"--- file type: DAT {kind} ---\r\n".encode() + data)
        return path
    path = folder / f"{name}.cfg"
    path.write_bytes(config)
    path.with_suffix(".dat").write_bytes(data)
    return path


def _data(stamps_us, raw, form):
    numbers = np.arange(1, len(stamps_us) + 1, dtype="<u4")
    if form == "ASCII":
        whole = np.column_stack([numbers, stamps_us, *(np.round(r) for r in raw)]).astype(int)
        return "".join(",".join(map(str, row)) + "\r\n" for row in whole.tolist()).encode()
    code = {"BINARY": "<i2", "BINARY32": "<i4", "FLOAT32": "<f4"}[form]
    kind = np.dtype([("n", "<u4"), ("t", "<u4"), *((f"v{k}", code) for k in range(len(raw)))])
    rows = np.zeros(len(stamps_us), kind)
    rows["n"], rows["t"] = numbers, stamps_us
    for k, r in enumerate(raw):
        rows[f"v{k}"] = r if form == "FLOAT32" else np.round(r)
    return rows.tobytes()
