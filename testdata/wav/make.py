"""Reference WAV files for the reader's tests, and what SciPy reads in them.

SciPy (scipy.io.wavfile) and Python's own wave module write what they can; the other files are put together here from the
published layout and read by SciPy. expected.json holds the samples SciPy reads, scaled so that integer full scale is 1.
Run in this folder: python3 make.py        (made with SciPy 1.10.1, Python 3.11)
"""
import json
import struct
import wave

import numpy as np
from scipy.io import wavfile

RATE = 44100


def scaled(samples):
    """Samples as SciPy returns them -> [channel][frame], full scale 1."""
    samples = samples.reshape(len(samples), -1)
    if samples.dtype == np.uint8:
        samples = (samples.astype(float) - 128) / 128
    elif samples.dtype.kind == "i":
        samples = samples / 2.0 ** (8 * samples.dtype.itemsize - 1)  # SciPy puts 24 bits at the top of 32
    return samples.astype(float).T.tolist()


def ramp(bits, frames, channels):
    """Integers over the whole range, extremes first."""
    low, high = -(1 << (bits - 1)), (1 << (bits - 1)) - 1
    n = frames * channels
    rest = [low + (k * 2654435761) % (1 << bits) for k in range(n)]
    return np.array(([low, high, 0, -1, 1] + rest)[:n], dtype=np.int64).reshape(frames, channels)


def packed(values, size):
    return b"".join(int(v).to_bytes(size, "little", signed=True) for v in values.reshape(-1))


def chunk(name, body):
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def extensible(tag, channels, container, valid):
    align = channels * container // 8
    return struct.pack("<HHIIHHHHIH14s", 0xFFFE, channels, RATE, RATE * align, align, container, 22, valid, 0, tag,
                       bytes.fromhex("000000001000800000AA00389B71"))


def save(name, *chunks):
    body = b"WAVE" + b"".join(chunks)
    with open(name, "wb") as f:
        f.write(b"RIFF" + struct.pack("<I", len(body)) + body)


expected = {}


def expect(name, bits, is_float):
    rate, samples = wavfile.read(name)
    expected[name] = {"rate": rate, "bits": bits, "float": is_float, "channels": scaled(samples)}


def make():
    # Written by SciPy.
    wavfile.write("scipy-u8.wav", RATE, (ramp(8, 9, 1) + 128).astype(np.uint8))
    expect("scipy-u8.wav", 8, False)
    wavfile.write("scipy-i16.wav", 48000, ramp(16, 12, 2).astype(np.int16))
    expect("scipy-i16.wav", 16, False)
    wavfile.write("scipy-i32.wav", 192000, ramp(32, 8, 3).astype(np.int32))
    expect("scipy-i32.wav", 32, False)
    f = np.array([[1, -1], [0.1, -0.0], [1.5, 3e-39], [np.pi, -1e30]])
    wavfile.write("scipy-f32.wav", 96000, f.astype(np.float32))
    expect("scipy-f32.wav", 32, True)
    wavfile.write("scipy-f64.wav", 11025, f.T.reshape(-1))
    expect("scipy-f64.wav", 64, True)
    # Written by the wave module: mono, an odd number of bytes.
    with wave.open("wave-i24.wav", "wb") as w:
        w.setnchannels(1)
        w.setsampwidth(3)
        w.setframerate(RATE)
        w.writeframes(packed(ramp(24, 7, 1), 3))
    expect("wave-i24.wav", 24, False)
    # Put together here.
    save("ext-i24.wav", chunk(b"bext", b"\0" * 602), chunk(b"LIST", b"INFOISFT\x03\0\0\0ab\0\0"),
         chunk(b"fmt ", extensible(1, 5, 24, 24)), chunk(b"data", packed(ramp(24, 3, 5), 3)))
    expect("ext-i24.wav", 24, False)
    save("ext-24-in-32.wav", chunk(b"JUNK", b"\0" * 27), chunk(b"fmt ", extensible(1, 2, 32, 24)),
         chunk(b"data", packed(ramp(24, 4, 2) << 8, 4)))
    expect("ext-24-in-32.wav", 24, False)
    save("ext-20-in-24.wav", chunk(b"fmt ", extensible(1, 1, 24, 20)), chunk(b"data", packed(ramp(20, 8, 1) << 4, 3)))
    expect("ext-20-in-24.wav", 20, False)
    save("ext-f32.wav", chunk(b"fmt ", extensible(3, 2, 32, 32)), chunk(b"fact", struct.pack("<I", 4)),
         chunk(b"data", f.astype("<f4").tobytes()))
    expect("ext-f32.wav", 32, True)
    with open("expected.json", "w") as out:
        json.dump(expected, out, indent=1)
        out.write("\n")


make()
