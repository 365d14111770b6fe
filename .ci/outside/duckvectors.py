"""The ducking law from its written equations: duckvectors.py VECTORS

The law is the text in the package comment of mixplan/duck, which VECTORS holds
too under "law". What it says of one rule is done here frame by frame, without
any of the shortcuts a fast implementation takes; filters are scipy's.
"""
import json
import math
import sys

import numpy
import scipy.signal

ALLOWED_DB = 1e-6
ALLOWED_IMPULSE = 1e-9  # of full scale; the file holds twelve decimals


def frame(seconds, rate):
    return math.floor(seconds * rate + 0.5)


def one_rule(rule, speech, rate, frames):
    depth = rule["depth_db"]
    attack, hold, release, ahead = (rule[k + "_ms"] / 1000 for k in ("attack", "hold", "release", "lookahead"))
    wanted = numpy.zeros(frames, bool)
    for s in speech:
        if s["category"] == rule["under"]:
            wanted[max(0, frame(s["from_s"] - ahead, rate)) : max(0, frame(s["to_s"] + hold, rate))] = True
    a, out = 0.0, numpy.zeros(frames)
    for n in range(frames):
        a = min(depth, a + depth / (attack * rate)) if wanted[n] else max(0.0, a - depth / (release * rate))
        out[n] = a
    return out


def category(case, frames):
    """Attenuation of the whole category, and of its band beyond that."""
    whole, band = numpy.zeros(frames), numpy.zeros(frames)
    for rule in case["ducking"]:
        into = band if rule.get("dip_low_hz") else whole
        numpy.maximum(into, one_rule(rule, case["speech"], case["sample_rate_hz"], frames), out=into)
    return whole, numpy.maximum(0, band - whole)


def band_pass(low, high, rate, deepest):
    """P of the law as numerator and denominator."""
    lo, hi = math.tan(math.pi * low / rate), math.tan(math.pi * high / rate)
    u02 = lo * hi
    b = (hi - lo) / math.sqrt(10 ** (-deepest / 20))
    k = 1 + b + u02
    return [b / k, 0, -b / k], [1, 2 * (u02 - 1) / k, (1 - b + u02) / k]


vectors = json.load(open(sys.argv[1]))
if abs(vectors["tolerance_db"] - ALLOWED_DB) > 1e-12 or len(vectors["cases"]) < 10 or len(vectors["dips"]) < 4:
    sys.exit("other vectors than these were expected")
wrong, points = 0, 0
worst = {"attenuation": 0.0, "response": 0.0, "impulse": 0.0}


def compare(kind, what, theirs, here, allowed):
    global wrong
    d = abs(theirs - here)
    worst[kind] = max(worst[kind], d)
    if not d <= allowed:
        wrong += 1
        if wrong <= 10:
            print(f"  {what}: {theirs:.9f} in the file, {here:.9f} by the law")


for case in vectors["cases"]:
    whole, band = category(case, max(p["frame"] for p in case["points"]) + 1)
    moved = 0.0
    for p in case["points"]:
        points += 1
        moved = max(moved, p["attenuation_db"], p["dip_db"])
        compare("attenuation", f"{case['name']}, frame {p['frame']}", p["attenuation_db"], whole[p["frame"]], ALLOWED_DB)
        compare("attenuation", f"{case['name']}, frame {p['frame']}, band", p["dip_db"], band[p["frame"]], ALLOWED_DB)
    if (moved == 0) != (case["name"] == "nobody"):
        sys.exit(f"{case['name']}: yields by {moved} dB, so it shows nothing")

for d in vectors["dips"]:
    rate, name = d["sample_rate_hz"], f"dip {d['dip_low_hz']} to {d['dip_high_hz']} Hz at {d['sample_rate_hz']} Hz"
    num, den = band_pass(d["dip_low_hz"], d["dip_high_hz"], rate, d["deepest_db"])
    for key, here in (("b0", num[0]), ("a1", den[1]), ("a2", den[2])):
        compare("impulse", f"{name}, {key}", d[key], here, ALLOWED_IMPULSE)
    g = 10 ** (-d["depth_db"] / 20)
    hz = [f for f, _ in d["response_hz_db"]]
    _, p = scipy.signal.freqz(num, den, worN=hz, fs=rate)
    for (f, db), h in zip(d["response_hz_db"], 1 - (1 - g) * p):
        compare("response", f"{name}, {f} Hz", db, 20 * math.log10(abs(h)), ALLOWED_DB)
    x = numpy.zeros(len(d["impulse"]))
    x[0] = 1
    y = x - (1 - g) * scipy.signal.lfilter(num, den, x)
    for n, (theirs, here) in enumerate(zip(d["impulse"], y)):
        compare("impulse", f"{name}, frame {n}", theirs, here, ALLOWED_IMPULSE)

print(f"{len(vectors['cases'])} cases with {points} points, attenuation within {worst['attenuation']:.1e} dB; {len(vectors['dips'])} dips, "
      f"response within {worst['response']:.1e} dB, impulse within {worst['impulse']:.1e} of full scale; {ALLOWED_DB:g} dB wanted")
if wrong:
    print(f"{wrong} values differ")
sys.exit(1 if wrong else 0)
