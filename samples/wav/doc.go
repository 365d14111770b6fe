// Package wav reads and writes RIFF WAVE sound files, with the RF64 and BW64
// forms for sizes past 4 GiB.
//
// Why not a library: the first job of an audit is to notice exactly those
// broken files that the usual Go reader, github.com/go-audio/wav, calls
// valid. That reader gives a file cut in half back without an error, makes a
// ghost sample from the pad byte of an odd 24-bit chunk, returns nothing at
// all (and no error) for a size field of 0xFFFFFFFF, hands out the raw bits
// of float samples as integers, and does not come back in reasonable time
// from a chunk with a lying size. It stays in the tests, as a cross-check on
// the files both can read.
//
// The reader takes an io.ReaderAt and the true size. Every length in the file
// is a claim that is checked against that size before anything is allocated
// or read; what does not fit the rules but can be read is kept in
// [Reader.Warnings]. The errors are [FormatError] (broken, with a byte
// offset), [UnsupportedError] (sound, but not ours) and, once the good frames
// are out, *samples.TruncatedError.
//
// The writer produces 16 or 24-bit integers with seeded triangular dither, or
// 32-bit floats, the same bytes for the same input and seed. It rewrites its
// sizes each time a block reaches the file, so that what an interrupted run
// leaves behind is a valid file of the sound written so far.
//
// Chunk layouts: RIFF (Microsoft and IBM, 1991), WAVE_FORMAT_EXTENSIBLE
// (Microsoft, mmreg.h), EBU Tech 3285 version 2 (bext), EBU Tech 3306 (RF64),
// ITU-R BS.2088 (BW64).
package wav
