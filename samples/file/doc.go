// Package file opens sound files of every kind tachbench reads and writes its
// results whole or not at all.
//
// Reading. The kind is decided by the content, never by the extension: WAV by
// our own samples/wav, FLAC by mewkiz/flac, Ogg Vorbis by jfreymuth/vorbis,
// MP3 by hajimehoshi/go-mp3. [Open] streams, [Load] holds everything in
// memory; a file that breaks off gives its good frames and then a
// *samples.TruncatedError. Every error is one line that begins with the path.
//
// Why the decoders are used directly and not through gopxl/beep: beep knows
// stereo only and drops further channels without a word, hides the bit depth,
// keeps errors in a side channel that callers forget, and its WAV reader
// streams silence for ever from a truncated file. Why the Ogg pages are read
// here and not by jfreymuth/oggvorbis: it cuts decoded samples at full scale,
// so that an audit could not see that a lossy file runs over, and it recurses
// once for every empty packet or page, which a hostile file turns into a
// stack overflow that no recover can catch.
//
// Decoders written by others are kept on a leash: headers that would make
// them allocate or loop out of proportion are checked before they see them,
// panics become errors, and a decoder that yields nothing is stopped.
//
// Writing. [Create] gives a temporary file beside the final one; Commit syncs
// and renames it, Abort removes it. Nothing appears under the final name
// unless it is whole.
package file
