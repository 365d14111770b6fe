"""Compare what a sound server recorded with what was to be heard.

    pulse_compare.py FILE.wav FILE.raw

The WAV file holds 32-bit floats as tachbench writes them, the raw one the
same from parec: 48 kHz, two channels. They are aligned by cross-correlation of
their first loud seconds; then every frame is compared, so that a gap, a
repetition or a change of level anywhere shows. Fails on a deviation over
1e-4 of full scale, or if the recording lacks a frame.
"""
import sys

import numpy as np
from scipy.io import wavfile
from scipy.signal import correlate

DEVIATION = 1e-4
rate, want = wavfile.read(sys.argv[1])
got = np.fromfile(sys.argv[2], dtype="<f4")
got = got[: len(got) // 2 * 2].reshape(-1, 2)
assert rate == 48000 and want.dtype == np.float32 and want.shape[1] == 2, (rate, want.dtype, want.shape)

loud = int(np.argmax(np.abs(want).max(axis=1) > 1e-3))
assert np.abs(want[loud]).max() > 1e-3, "silence would match anything"
piece = slice(loud, loud + 3 * rate)
window = got[: loud + 13 * rate]
lag = int(np.argmax(correlate(window.sum(axis=1, dtype=float), want[piece].sum(axis=1, dtype=float), "valid"))) - loud
if lag < 0 or lag + len(want) > len(got):
    sys.exit(f"{sys.argv[2]}: {len(got)} frames recorded, {len(want)} wanted from frame {lag}")
difference = np.abs(got[lag : lag + len(want)].astype(float) - want)
worst = np.unravel_index(np.argmax(difference), difference.shape)
far = np.flatnonzero(difference.max(axis=1) > DEVIATION)
print(
    f"{sys.argv[1]}: {len(want) / rate:.1f} s, peak {np.abs(want).max():.3f}, found at {lag / rate:.3f} s, "
    f"largest deviation {difference[worst]:.1e} at {worst[0] / rate:.3f} s, {len(far)} frames over {DEVIATION:g}"
)
if len(far):
    sys.exit(f"{sys.argv[1]}: what is played is not what was rendered, first at {far[0] / rate:.3f} s")
outside = np.concatenate([got[: max(0, lag)], got[lag + len(want) :]])
if len(outside) and np.abs(outside).max() > 0:
    sys.exit(f"{sys.argv[1]}: there is sound before or after it, up to {np.abs(outside).max():g}")
