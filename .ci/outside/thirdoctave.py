"""Third-octave levels by scipy against ours: thirdoctave.py LIST OURS

Two ways. The same definition by another hand: scipy's short-time transform
with frames as long as ours; every band must agree. And the ideal: one
transform over the whole sound, so bands without any smear; there, frames of
half a second to a second blur a harmonic that sits on a band edge, so most
bands must agree, not all. The power is split at the band edges in both.
"""
import os
import sys

import numpy
import scipy.fft
import scipy.signal

ALLOWED_DB = 0.2
# A band further than this under the strongest of its sound is not heard beside
# it, and with the ideal transform it is leakage that would be compared.
DEPTH_DB = 60
# Under so many periods of the width of a band its power is a matter of the
# window, not of the sound.
PERIODS = 40


def levels(power, bin_hz, rate):
    """Band index -> dB, from the mean square in each bin."""
    total = numpy.concatenate([[0.0], numpy.cumsum(power)])  # up to the lower side of bin k

    def upto(hz):
        at = hz / bin_hz + 0.5
        k = int(at)
        return total[k] + power[k] * (at - k) if k < len(power) else total[-1]

    out = {}
    for x in range(-17, 14):
        low, high = 1000 * 10 ** ((x - 0.5) / 10), 1000 * 10 ** ((x + 0.5) / 10)
        if high <= rate / 2:
            p = upto(high) - upto(low)
            out[x] = 10 * numpy.log10(p) if p > 0 else -numpy.inf
    return out


def one_sided(squares):
    squares[1:-1] *= 2  # even lengths only
    return squares


def by_frames(x, rate):
    size = 1
    while 2 * size < rate:
        size *= 2
    window = scipy.signal.windows.cosine(size)  # half a sine, symmetric
    padded = numpy.concatenate([x, numpy.zeros(max(0, size - len(x)))])
    _, _, z = scipy.signal.stft(padded, nperseg=size, noverlap=size // 2, window=window, boundary="zeros", padded=True, detrend=False)
    return one_sided((numpy.abs(z * window.sum()) ** 2).sum(axis=1)) / size / len(x), rate / size


def at_once(x, rate):
    size = 2 * scipy.fft.next_fast_len(len(x))  # silence goes before and after
    return one_sided(numpy.abs(scipy.fft.rfft(x, size)) ** 2) / size / len(x), rate / size


rows = [line.rstrip("\n").split("\t") for line in open(sys.argv[1])]
ours = {}
for line in open(sys.argv[2]):
    path, channel, x, db = line.split("\t")
    ours[path, int(channel), int(x)] = float(db)

same, ideal = [], []
for path, rate, channels, *_ in rows:
    rate, channels = int(rate), int(channels)
    data = numpy.fromfile(path, dtype="<f8").reshape(-1, channels)
    for c in range(channels):
        for x, want in levels(*by_frames(data[:, c], rate), rate).items():
            if want > -150:
                d = abs(ours[path, c, x] - want)
                same.append(d)
                if d > ALLOWED_DB:
                    print(f"  {os.path.basename(path)} channel {c} band {x}: ours {ours[path, c, x]:.2f}, scipy {want:.2f} dB")
        wanted = levels(*at_once(data[:, c], rate), rate)
        top = max(wanted.values(), default=-numpy.inf)
        for x, want in wanted.items():
            width = 1000 * (10 ** ((x + 0.5) / 10) - 10 ** ((x - 0.5) / 10))
            if want > max(top - DEPTH_DB, -100) and width * len(data) / rate >= PERIODS:
                ideal.append(abs(ours[path, c, x] - want))

failed = False
for name, errors, share in (("same definition", same, 1), ("ideal bands", ideal, 0.95)):
    if len(errors) < 1000:
        sys.exit("too few bands were compared")
    q = numpy.percentile(errors, [50, 95, 99])
    inside = numpy.mean(numpy.array(errors) <= ALLOWED_DB)
    print(f"{name}: {len(errors)} bands of {len(rows)} files, median {q[0]:.4f}, 95 % {q[1]:.4f}, 99 % {q[2]:.4f}, worst {max(errors):.4f} dB; {100 * inside:.2f} % within {ALLOWED_DB} dB, {100 * share:.0f} % wanted")
    failed |= inside < share
sys.exit(1 if failed else 0)
